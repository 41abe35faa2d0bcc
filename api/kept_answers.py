"""Answers that are the same for everyone who sends no token: made once for one state of the registry, kept as they
were sent, and not sent twice to whoever holds them (RFC 9110, 13.1.2)."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseNotModified

from api.throttles import RequestThrottle
from registry.kept import find, keep, name_of

SENT_ALONG = ("Content-Type", "Link", "Vary", "Allow")
PLAIN = ("*/*", "application/json")


class KeptAnswers:
    """For a resource, before its base: answers GET from what is kept. Asking whether something has changed is not
    counted against the asker's limit, so that 304 says nothing of it; everything else is, and tells what is left."""

    def stamp(self, action: str, **address: str) -> object | None:
        """The state that an action's answer is made from; None where its answers are not kept."""
        raise TypeError(f"{type(self).__name__} has to say what its answers are made from.")

    def dispatch(self, request: HttpRequest, *args: Any, **address: Any) -> HttpResponse:
        action = getattr(self, "action_map", {}).get("get", "")
        stamp = self.stamp(action, **address) if _is_for_everyone(request) else None
        if stamp is None:
            return super().dispatch(request, *args, **address)
        tag = name_of("api", request.build_absolute_uri(), stamp)
        if _holds(request, tag):
            return _tagged(HttpResponseNotModified(), tag)
        found = find(tag)
        if found is not None and RequestThrottle().allow_request(request, self):
            content, headers = found
            return _tagged(HttpResponse(content, headers=headers | self.rate_headers), tag)
        return self._made(super().dispatch(request, *args, **address), tag)

    def _made(self, response: HttpResponse, tag: str) -> HttpResponse:
        if response.status_code != 200:
            return response
        response.render()
        keep(tag, (response.content, {name: response[name] for name in SENT_ALONG if name in response}))
        return _tagged(response, tag)


def _is_for_everyone(request: HttpRequest) -> bool:
    """Whether nothing about the asker can change the answer, and JSON is what they want."""
    return (
        request.method == "GET"
        and "HTTP_AUTHORIZATION" not in request.META
        and settings.SESSION_COOKIE_NAME not in request.COOKIES
        and request.META.get("HTTP_ACCEPT", "*/*") in PLAIN
    )


def _holds(request: HttpRequest, tag: str) -> bool:
    given = request.META.get("HTTP_IF_NONE_MATCH", "")
    return f'"{tag}"' in given or given == "*"


def _tagged(response: HttpResponse, tag: str) -> HttpResponse:
    response["ETag"] = f'"{tag}"'
    response["Cache-Control"] = "no-cache"
    return response
