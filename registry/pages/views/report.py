"""One report, as everyone sees it; and a contributor's own reports."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from registry.pages import camera
from registry.pages.forms.revising import ReasonForm
from registry.pages.views.drafts import draft_address
from registry.reports import queries
from registry.reports.models import ReportState


@require_safe
def report(request: HttpRequest, public_id: str) -> HttpResponse:
    """What was tested with what, the sweeps, and the frames with what was found in them."""
    return report_response(request, public_id)


def report_response(
    request: HttpRequest, public_id: str, *, withdrawing: ReasonForm | None = None, status: int = 200
) -> HttpResponse:
    """A report's page. withdrawing: the form of a withdrawal that could not be done as sent."""
    page = queries.report_page(public_id, request.user)
    if page.report.state == ReportState.DRAFT:
        return redirect(draft_address(page.report))
    withdrawn = page.report.state == ReportState.WITHDRAWN
    context = {
        "page": page,
        "report": page.report,
        "seen": camera.remembered(request),
        "withdrawn": withdrawn,
        "withdrawing": withdrawing or ReasonForm(),
    }
    return render(request, "pages/report.html", context, status=410 if withdrawn else status)


@login_required
@require_safe
def my_reports(request: HttpRequest) -> HttpResponse:
    context = {
        "drafts": queries.drafts_of(request.user),
        "reports": queries.reports_of(request.user),
    }
    return render(request, "pages/my_reports.html", context)
