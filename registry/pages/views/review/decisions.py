"""Decisions, for everyone to read; and agreeing, declining, taking back."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.errors import CleanstopError, InvalidInput
from registry.moderation.models import Act, Decision
from registry.moderation.queries.decisions import (
    IN_FORCE,
    WAITING,
    decision_by_id,
    decisions,
    decisions_on,
    signed,
    status_of,
)
from registry.moderation.queries.desk import foresee
from registry.moderation.queries.voices import accounts_of
from registry.moderation.rules import DECIDING, REASONS
from registry.moderation.services import answer_proposal, decide, undo_decision
from registry.moderation.services.deciding import plan_of, told
from registry.pages.forms.review import DecisionForm, GearForm, ReasonForm
from registry.pages.problems import put_beside_fields
from registry.pages.problems import status_of as http_status
from registry.reports import queries as reports
from registry.reports.models import Report, ReportState

A_PAGE = 40
ON_A_REPORT = ("ask", "set-aside", "restore")


@require_safe
def made(request: HttpRequest) -> HttpResponse:
    """Every decision, newest first; of one lens where it is named."""
    rows = decisions().filter(act__in=(*DECIDING, Act.UNDO))
    lens = request.GET.get("lens", "")
    page = Paginator(rows.filter(lens_slug=lens) if lens else rows, A_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": [(row, status_of(row), signed(row)) for row in page.object_list],
        "lens": lens,
    }
    return render(request, "pages/review_decisions.html", context)


@require_safe
def decision(request: HttpRequest, public_id: str) -> HttpResponse:
    """One decision: what, why, by whom, what it was expected to change, what became of it."""
    return _shown(request, decision_by_id(public_id))


@login_required
@require_POST
def answer(request: HttpRequest, public_id: str) -> HttpResponse:
    """Agree to a proposal, or decline it."""
    agree = request.POST.get("act") == "agree"
    done = "Agreed: it is in force now." if agree else "Declined: nothing changes."
    return _acted(
        request,
        public_id,
        lambda row, reason: answer_proposal(decision=row, by=request.user, agree=agree, reason=reason),
        done,
    )


@login_required
@require_POST
def undo(request: HttpRequest, public_id: str) -> HttpResponse:
    """Take a decision back."""
    return _acted(
        request,
        public_id,
        lambda row, reason: undo_decision(decision=row, by=request.user, reason=reason),
        "Taken back, or proposed where a second moderator has to agree. The row before stays.",
    )


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def report(request: HttpRequest, public_id: str) -> HttpResponse:
    """Deciding on one report by itself: a question, setting aside, restoring."""
    row = reports.report_for(public_id, request.user)
    form = DecisionForm(
        request.POST or None,
        reports=[(row.public_id, row.public_id)],
        factors=[],
        initial={"version": row.version},
    )
    form.fields["act"].choices = [
        choice for choice in form.fields["act"].choices if choice[0] in _acts_on(row)
    ]
    del form.fields["reports"]
    refusal, status = None, 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            sent = form.cleaned_data
            try:
                made = decide(
                    by=request.user, act=sent["act"], reason=sent["reason"], reports=[row],
                    reason_code=sent["reason_code"], due=sent["due"] if sent["act"] == Act.ASK else None,
                    expected_version=sent["version"],
                )  # fmt: skip
                return redirect("review-decision", made.public_id)
            except InvalidInput as error:
                put_beside_fields(form, error)
            except CleanstopError as error:
                refusal, status = error, http_status(error)[0]
    return render(request, "pages/review_report.html", _about(row, form, refusal), status=status)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def gear(request: HttpRequest, public_id: str) -> HttpResponse:
    """Correcting the gear that a report names: first what it would change, then the proposal."""
    row = reports.report_for(public_id, request.user)
    form = GearForm.of(row, request.POST or None)
    context = {"report": row, "form": form, "refusal": None, "expected": None}
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                if request.POST.get("act") != "propose":
                    plan = plan_of(Act.CORRECT_GEAR, None, [row], changes=form.changes())
                    context["expected"], status = told(foresee(plan)), 200
                else:
                    made = decide(
                        by=request.user, act=Act.CORRECT_GEAR, reason=form.cleaned_data["reason"], reports=[row],
                        changes=form.changes(), expected_version=form.cleaned_data["version"],
                    )  # fmt: skip
                    return redirect("review-decision", made.public_id)
            except InvalidInput as error:
                put_beside_fields(form, error, {"changes": "lens"})
            except CleanstopError as error:
                context["refusal"], status = error, http_status(error)[0]
    return render(request, "pages/review_gear.html", context, status=status)


def _acts_on(row: Report) -> tuple[str, ...]:
    return ("ask", "restore") if row.state == ReportState.SET_ASIDE else ("ask", "set-aside")


def _about(row: Report, form: DecisionForm, refusal: CleanstopError | None) -> dict:
    return {
        "report": row,
        "form": form,
        "refusal": refusal,
        "made": [(one, status_of(one), signed(one)) for one in decisions_on(row)],
    }


def _acted(request: HttpRequest, public_id: str, act, done: str) -> HttpResponse:
    row = decision_by_id(public_id)
    form = ReasonForm(request.POST)
    if not form.is_valid():
        return _shown(request, row, form=form, status=422)
    try:
        act(row, form.cleaned_data["reason"])
    except InvalidInput as error:
        put_beside_fields(form, error)
        return _shown(request, row, form=form, status=422)
    except CleanstopError as error:
        return _shown(
            request, decision_by_id(public_id), form=form, refusal=error, status=http_status(error)[0]
        )
    messages.success(request, done)
    return redirect("review-decision", public_id)


def _shown(
    request: HttpRequest,
    row: Decision,
    *,
    form: ReasonForm | None = None,
    refusal: CleanstopError | None = None,
    status: int = 200,
) -> HttpResponse:
    user = request.user
    moderates = user.is_authenticated and user.moderates
    state = status_of(row)
    authors = {report.author_id for report in row.reports.all()}
    consents = row.act == Act.CORRECT_GEAR and user.is_authenticated and authors == {user.pk}
    context = {
        "decision": row,
        "status": state,
        "signed": signed(row),
        "reason_kind": REASONS.get(row.reason_code, ""),
        "answers": [(one, signed(one)) for one in row.answers.all()],
        "form": form or ReasonForm(),
        "refusal": refusal,
        "may_answer": state.code == WAITING and (moderates or consents),
        "own_proposal": moderates and row.by_id == user.pk and not consents,
        "may_undo": state.code == IN_FORCE and moderates and row.act in DECIDING,
        "about": row.about,
        "accounts": accounts_of((row.about or row).details),
    }
    return render(request, "pages/review_decision.html", context, status=status)
