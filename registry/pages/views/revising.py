"""Changing or taking back one's own report. What it said before stays on record."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from registry.errors import Conflict, InvalidInput
from registry.gear.queries import find_lenses
from registry.pages.forms.report import bodies_to_suggest
from registry.pages.forms.revising import ReasonForm, Revision
from registry.pages.problems import put_beside_fields, status_of
from registry.pages.views.drafts import draft_address, only_by_post, own_report
from registry.pages.views.report import report_response
from registry.reports import services
from registry.reports.models import Report, ReportState


@login_required
@require_http_methods(["GET", "POST"])
def revise(request: HttpRequest, public_id: str) -> HttpResponse:
    """Correct any part of a submitted report, and say why."""
    report = own_report(request, public_id)
    if report.state == ReportState.DRAFT:
        return redirect(draft_address(report))
    if report.state == ReportState.WITHDRAWN:
        return redirect("report", public_id)
    if request.method == "GET":
        return _page(request, report, Revision(report))
    revision = Revision(report, request.POST)
    if not revision.is_valid():
        return _page(request, report, revision, status=422)
    why = revision.reason.cleaned_data
    try:
        services.revise_report(
            report=report,
            by=request.user,
            reason=why["reason"],
            changes=revision.changes(),
            expected_version=why["version"],
        )
    except (InvalidInput, Conflict) as error:
        revision.put_beside_fields(error)
        return _page(request, report, revision, status=status_of(error)[0])
    messages.success(request, "The report is revised. What it said before is kept below.")
    return redirect("report", public_id)


def _page(request: HttpRequest, report: Report, revision: Revision, status: int = 200) -> HttpResponse:
    typed = (revision.details["lens_name"].value() or "").strip()
    context = {
        "report": report,
        "revision": revision,
        "form": revision.details,
        "typed": typed,
        "matches": find_lenses(typed, limit=5) if typed else [],
        "chosen": revision.details["lens"].value(),
        "bodies": bodies_to_suggest(),
    }
    return render(request, "pages/report_revise.html", context, status=status)


@login_required
@only_by_post("report")
def withdraw(request: HttpRequest, public_id: str) -> HttpResponse:
    """Take one's own report back for good, with a reason."""
    report = own_report(request, public_id)
    form = ReasonForm(request.POST)
    if form.is_valid():
        try:
            services.withdraw_report(report=report, by=request.user, reason=form.cleaned_data["reason"])
            messages.success(request, "The report is withdrawn and no longer counts.")
            return redirect("report", public_id)
        except InvalidInput as error:
            put_beside_fields(form, error)
    return report_response(request, public_id, withdrawing=form, status=422)
