"""Re-encoded pictures that anyone may see, served so that a browser can only show them."""

import mimetypes

from django.core.exceptions import SuspiciousFileOperation
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpRequest
from django.views.decorators.http import require_safe

SHOWN_TYPES = {"image/jpeg", "image/png", "image/webp"}
A_YEAR = 60 * 60 * 24 * 365


@require_safe
def picture(request: HttpRequest, name: str) -> FileResponse:
    """One public picture. Names are made by the server and never reused, so that caches may keep them."""
    kind, _ = mimetypes.guess_type(name)
    try:
        if kind not in SHOWN_TYPES or not default_storage.exists(name):
            raise Http404(f"There is no picture “{name}”.")
        response = FileResponse(default_storage.open(name), content_type=kind)
    except SuspiciousFileOperation as error:
        raise Http404(f"There is no picture “{name}”.") from error
    response["Cache-Control"] = f"public, max-age={A_YEAR}, immutable"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    return response
