"""Re-encoded pictures that anyone may see, served so that a browser can only show them."""

import mimetypes
from pathlib import PurePosixPath

from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpRequest
from django.views.decorators.http import require_safe

from registry.reports import queries
from registry.reports.models import ReportState

SHOWN_TYPES = {"image/jpeg", "image/png", "image/webp"}
A_YEAR = 60 * 60 * 24 * 365


@require_safe
def picture(request: HttpRequest, name: str) -> FileResponse:
    """A frame's picture or thumbnail, for those who may see the frame.

    Files are called after their frame's public id, and no name is used twice, so that caches may keep them.
    """
    image = queries.image_for(PurePosixPath(name).name.partition("-")[0], request.user)
    kind, _ = mimetypes.guess_type(name)
    if (
        name not in (image.picture, image.thumbnail)
        or kind not in SHOWN_TYPES
        or not default_storage.exists(name)
    ):
        raise Http404(f"There is no picture “{name}”.")
    response = FileResponse(default_storage.open(name), content_type=kind)
    public = image.report is not None and image.report.state == ReportState.SUBMITTED
    response["Cache-Control"] = f"public, max-age={A_YEAR}, immutable" if public else "private, max-age=600"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    return response
