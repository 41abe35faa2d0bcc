"""Finding the draft that a page is about."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from registry.reports.models import Basis, Report, ReportState


def own_report(request: HttpRequest, public_id: str) -> Report:
    """The reader's own report; other people's are not even admitted to exist as drafts."""
    report = (
        Report.objects.filter(public_id=public_id, author=request.user)
        .select_related("lens__maker", "rig__body__maker", "filter__maker", "author")
        .first()
    )
    if report is None:
        raise Http404(f"You have no report {public_id}.")
    return report


def own_draft(request: HttpRequest, public_id: str) -> Report:
    report = own_report(request, public_id)
    if report.state != ReportState.DRAFT:
        raise Http404(f"Report {public_id} is no draft any more.")
    return report


def draft_address(report: Report) -> str:
    """Where the work on a draft goes on: its frames, its grades, or the check of what it relays."""
    if report.basis == Basis.MEASURED or report.images.exists():
        return reverse("report-frames", args=[report.public_id])
    page = "report-grades" if report.basis == Basis.GRADED else "report-check"
    return reverse(page, args=[report.public_id])


def draft_or_elsewhere(request: HttpRequest, public_id: str) -> tuple[Report, HttpResponse | None]:
    """The reader's draft, and where to go instead when it has been submitted already."""
    report = own_report(request, public_id)
    elsewhere = None if report.state == ReportState.DRAFT else redirect("report", public_id)
    return report, elsewhere


def only_by_post(elsewhere: str) -> Callable:
    """For acts: whoever comes by a link, or back from signing in, is led to a page of the same report instead."""

    def decorate(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @wraps(view)
        def guarded(request: HttpRequest, public_id: str, **more: str) -> HttpResponse:
            if request.method != "POST":
                return redirect(elsewhere, public_id)
            return view(request, public_id, **more)

        return guarded

    return decorate
