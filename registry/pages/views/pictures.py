"""Re-encoded pictures that anyone may see, served so that a browser can only show them; and what grades look like."""

import mimetypes
from pathlib import PurePosixPath

from django.core.cache import cache
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from registry.reports import queries
from registry.reports.models import ReportState
from registry.simulation.files import write_jpeg
from registry.simulation.references import GRADE_EV, reference_picture

SHOWN_TYPES = {"image/jpeg", "image/png", "image/webp"}
A_YEAR = 60 * 60 * 24 * 365
A_DAY = 60 * 60 * 24
REFERENCE_SIZE = (480, 320)


@require_safe
def picture(request: HttpRequest, name: str) -> FileResponse:
    """A frame's picture or thumbnail, for those who may see the frame.

    Files are called after their frame's public id, and no name is used twice, so that caches may keep them.
    """
    image = queries.image_for(PurePosixPath(name).name.partition("-")[0], request.user)
    kind, _ = mimetypes.guess_type(name)
    moderates = request.user.is_authenticated and request.user.moderates
    hidden = image.withheld.values() if moderates else ()  # who moderates has to see what was flagged
    if (
        name not in (image.picture, image.thumbnail, *hidden)
        or kind not in SHOWN_TYPES
        or not default_storage.exists(name)
    ):
        raise Http404(f"There is no picture “{name}”.")
    response = FileResponse(default_storage.open(name), content_type=kind)
    public = not image.withheld and image.report is not None and image.report.state == ReportState.SUBMITTED
    response["Cache-Control"] = f"public, max-age={A_YEAR}, immutable" if public else "private, max-age=600"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["Cross-Origin-Resource-Policy"] = "same-origin"
    return response


@require_safe
def reference(request: HttpRequest, grade: int) -> HttpResponse:
    """What a frame of an eye grade looks like, rendered once."""
    if grade >= len(GRADE_EV):
        raise Http404(f"No grade is called {grade}.")
    content = cache.get_or_set(f"reference-picture-{grade}", lambda: _reference_jpeg(grade), None)
    response = HttpResponse(content, content_type="image/jpeg")
    response["Cache-Control"] = f"public, max-age={A_DAY}"
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _reference_jpeg(grade: int) -> bytes:
    return write_jpeg(reference_picture(grade, size=REFERENCE_SIZE), quality=88)
