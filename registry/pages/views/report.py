"""One report, as everyone sees it; and a contributor's own reports."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.errors import InvalidInput
from registry.pages import camera
from registry.pages.forms.reply import ReplyForm
from registry.pages.forms.revising import ReasonForm
from registry.pages.problems import put_beside_fields
from registry.pages.views.drafts import draft_address, only_by_post
from registry.reports import queries
from registry.reports.models import ReportState
from registry.reports.services.replies import reply_on_report

PER_PAGE = 50
SHOWN_STATES = (ReportState.SUBMITTED, ReportState.SET_ASIDE, ReportState.WITHDRAWN)


@require_safe
def report(request: HttpRequest, public_id: str) -> HttpResponse:
    """What was tested with what, the sweeps, and the frames with what was found in them."""
    return report_response(request, public_id)


def report_response(
    request: HttpRequest,
    public_id: str,
    *,
    withdrawing: ReasonForm | None = None,
    replying: ReplyForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """A report's page. withdrawing, replying: the form of a withdrawal or a reply that could not be taken as sent."""
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
        "replying": replying or ReplyForm(),
    }
    return render(request, "pages/report.html", context, status=410 if withdrawn else status)


@login_required
@only_by_post("report")
def reply(request: HttpRequest, public_id: str) -> HttpResponse:
    """Answer on one's own report, or as a moderator on anyone's; everyone reads it there."""
    form = ReplyForm(request.POST)
    if form.is_valid():
        try:
            reply_on_report(
                report=queries.report_for(public_id, request.user),
                by=request.user,
                says=form.cleaned_data["says"],
            )
            messages.success(request, "Your reply stands on the report.")
            return redirect(f"{reverse('report', args=[public_id])}#replies")
        except InvalidInput as error:
            put_beside_fields(form, error)
    return report_response(request, public_id, replying=form, status=422)


@login_required
@require_safe
def my_reports(request: HttpRequest) -> HttpResponse:
    """Drafts, and what was submitted, by its state; of set aside ones the reason, with a box for an answer."""
    every = queries.reports_of(request.user)
    aside = every.filter(state=ReportState.SET_ASIDE).prefetch_related("replies__by")
    submitted = Paginator(every.filter(state=ReportState.SUBMITTED), PER_PAGE)
    context = {
        "drafts": queries.drafts_of(request.user).annotate(frames=Count("images"))[:PER_PAGE],
        "submitted": submitted.get_page(request.GET.get("page")),
        "aside": [(report, ReplyForm(auto_id=f"{report.public_id}-%s")) for report in aside],
        "withdrawn": every.filter(state=ReportState.WITHDRAWN)[:PER_PAGE],
        "others": every.exclude(state__in=SHOWN_STATES),
    }
    return render(request, "pages/my_reports.html", context)
