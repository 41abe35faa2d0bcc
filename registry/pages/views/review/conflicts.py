"""Conflicts: all that wait, those that matter most first; and one, side by side, with what may be decided."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.consensus.constants import VISIBLE_EV
from registry.errors import CleanstopError, InvalidInput
from registry.moderation.models import Act, Decision
from registry.moderation.queries.decisions import (
    WAITING,
    decisions,
    signed,
    status_of,
    waiting_for_a_second,
)
from registry.moderation.queries.desk import (
    conflicts_waiting,
    foreseen_for,
    handling_of,
    history_of_conflict,
    questions_on,
    split_conditions,
)
from registry.moderation.rules import part_in
from registry.moderation.services import decide, hand_back, take_on
from registry.pages.camps_plot import camps_plot
from registry.pages.forms.review import DecisionForm
from registry.pages.problems import put_beside_fields
from registry.pages.problems import status_of as http_status
from registry.reports.models import Report, ReportState
from registry.standings.models import Conflict
from registry.standings.queries.conflicts import (
    Side,
    conflict_by_id,
    curves_of,
    differences,
    explanations_of,
    frames_at_equal_stops,
    path_of_conflict,
    sides_told,
    where_in_words,
)

A_PAGE = 25


@require_safe
def waiting(request: HttpRequest) -> HttpResponse:
    """Every open conflict, by impact."""
    page = Paginator(conflicts_waiting(), A_PAGE).get_page(request.GET.get("page"))
    context = {"page": page, "seconds": [(row, signed(row)) for row in waiting_for_a_second()]}
    return render(request, "pages/review_conflicts.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def conflict(request: HttpRequest, number: int) -> HttpResponse:
    """One conflict: the camps, what differs, what may explain it, what each decision would change; and deciding."""
    shown = conflict_by_id(number)
    sides = sides_told(shown)
    form = _form(request, shown, sides)
    refusal, status = None, 200
    if request.method == "POST":
        if not request.user.is_authenticated:
            return redirect("account_login")
        if form.is_valid():
            try:
                return _decided(request, form, shown, sides)
            except InvalidInput as error:
                put_beside_fields(form, error)
            except CleanstopError as error:
                refusal, status = error, http_status(error)[0]
        status = 422 if status == 200 else status
        shown = conflict_by_id(number)
        sides = sides_told(shown)
        form = _again(form, shown)
    return render(
        request, "pages/review_conflict.html", _context(request, shown, sides, form, refusal), status=status
    )


@login_required
@require_POST
def handle(request: HttpRequest, number: int) -> HttpResponse:
    """Take a conflict on, so that others see it, or hand it back."""
    conflict_by_id(number)
    if request.POST.get("act") == "back":
        hand_back(by=request.user, kind="conflict", key=str(number))
    else:
        take_on(by=request.user, kind="conflict", key=str(number))
    return redirect("review-conflict", number)


def _decided(request: HttpRequest, form: DecisionForm, shown: Conflict, sides: list[Side]) -> HttpResponse:
    sent = form.cleaned_data
    reports = [report for side in sides for report in side.reports if report.public_id in sent["reports"]]
    decision = decide(
        by=request.user,
        act=sent["act"],
        reason=sent["reason"],
        conflict=shown,
        reports=[] if sent["act"] in (Act.SPLIT, Act.ACCEPT) else reports,
        reason_code=sent["reason_code"],
        due=sent["due"] if sent["act"] == Act.ASK else None,
        condition=split_conditions(shown.explanations).get(sent.get("factor", ""))
        if sent["act"] == Act.SPLIT
        else None,
        expected_version=sent["version"],
    )
    messages.success(request, _done(decision))
    return redirect("review-decision", decision.public_id)


def _done(decision: Decision) -> str:
    if decision.proposed:
        return "Proposed: it changes a verdict, so that a second moderator has to agree."
    return "Decided. It stands here for everyone to read, and can be taken back."


def _form(request: HttpRequest, shown: Conflict, sides: list[Side]) -> DecisionForm:
    log = history_of_conflict(shown)
    return DecisionForm(
        request.POST if request.method == "POST" else None,
        reports=[
            (report.public_id, f"{report.public_id}, {_by(report)} ({side.title.lower()})")
            for side in sides
            for report in side.reports
        ],
        factors=[
            (factor, " and ".join(condition.labels))
            for factor, condition in split_conditions(shown.explanations).items()
        ],
        initial={"version": shown.version, "seen": log[-1].sequence if log else 0},
    )


def _again(form: DecisionForm, shown: Conflict) -> DecisionForm:
    """The form with all that was typed in it, for another try on what stands now."""
    seen = form.data.get("seen", "0")
    form.known_until = int(seen) if seen.isascii() and seen.isdigit() else 0
    form.data = form.data.copy()
    log = history_of_conflict(shown)
    form.data["version"], form.data["seen"] = shown.version, log[-1].sequence if log else 0
    return form


def _context(
    request: HttpRequest,
    shown: Conflict,
    sides: list[Side],
    form: DecisionForm,
    refusal: CleanstopError | None,
) -> dict:
    log = history_of_conflict(shown)
    known_until = getattr(form, "known_until", None)
    moderates = request.user.is_authenticated and request.user.moderates
    reports = [report for side in sides for report in side.reports]
    barred = part_in(request.user, shown.standing.lens, reports) if moderates else None
    return {
        "conflict": shown,
        "lens": shown.standing.lens,
        "path": path_of_conflict(shown),
        "where": where_in_words(shown),
        "sides": sides,
        "differences": differences(sides),
        "explanations": explanations_of(shown.explanations),
        "plot": camps_plot(curves_of(shown, sides), visible_ev=VISIBLE_EV),
        "visible_ev": VISIBLE_EV,
        "frames": frames_at_equal_stops(sides),
        "foreseen": foreseen_for(shown, sides),
        "log": log,
        "news": [event for event in log if known_until is not None and event.sequence > known_until],
        "made": [(row, status_of(row), signed(row)) for row in decisions().filter(conflict=shown.pk)],
        "waiting_code": WAITING,
        "question": questions_on([shown]).get(shown.pk),
        "handled": handling_of("conflict").get(str(shown.pk)),
        "form": form,
        "refusal": refusal,
        "barred": barred,
        "may_decide": moderates and shown.open and barred is None,
        "moderates": moderates,
    }


def _by(report: Report) -> str:
    state = ", set aside" if report.state == ReportState.SET_ASIDE else ""
    return f"by {report.tester_name or report.author.name}{state}"
