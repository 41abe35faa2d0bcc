"""The frames of a draft: dropped, sent, and listed with what became of each."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from registry.errors import CleanstopError
from registry.pages.views.drafts import draft_or_elsewhere, own_draft
from registry.reports import queries, services
from registry.reports.models import Report


@login_required
@require_http_methods(["GET", "POST"])
def frames(request: HttpRequest, public_id: str) -> HttpResponse:
    """Drop frames. Each file stands for itself: one that is refused leaves the others."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    if elsewhere:
        return elsewhere
    refused = _take_frames(request, report) if request.method == "POST" else []
    context = {"report": report, "progress": queries.progress(report), "refused": refused}
    if request.htmx or request.headers.get("X-One-Frame"):
        return render(request, "pages/refused.html", context, status=422 if refused else 200)
    if request.method == "POST" and not refused:
        return redirect("report-frames", public_id)
    return render(request, "pages/report_frames.html", context, status=422 if refused else 200)


def _take_frames(request: HttpRequest, report: Report) -> list[dict]:
    refused = []
    for file in request.FILES.getlist("frames"):
        try:
            services.add_frame(report=report, by=request.user, file=file)
        except CleanstopError as error:
            refused.append({"name": file.name, "problems": error.problems})
    return refused


@login_required
def frames_state(request: HttpRequest, public_id: str) -> HttpResponse:
    """The list of frames with their state, asked for again and again while some are being measured."""
    report = own_draft(request, public_id)
    return render(request, "pages/arrivals.html", {"report": report, "progress": queries.progress(report)})
