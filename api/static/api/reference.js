"use strict";
// Requests tried from the page carry the session's CSRF token, as the site's own forms do.
const csrf = () => (document.cookie.match(/(?:^|; )csrftoken=([^;]+)/) || [])[1];

SwaggerUIBundle({
  url: document.getElementById("reference").dataset.document,
  domNode: document.getElementById("reference"),
  deepLinking: true,
  docExpansion: "list",
  defaultModelsExpandDepth: 0,
  validatorUrl: null,
  requestInterceptor: (request) => {
    const token = csrf();
    if (token && new URL(request.url, location.href).origin === location.origin) {
      request.headers["X-CSRFToken"] = token;
    }
    return request;
  },
});
