"""Accounts that look like one person's; and everything that counts as one, or may be worth counting so."""

from __future__ import annotations

from collections.abc import Iterable

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.accounts.models import Account
from registry.errors import CleanstopError, Conflict, InvalidInput, Problem
from registry.moderation.models import Act, Decision
from registry.moderation.queries.decisions import signed
from registry.moderation.queries.joining import (
    candidate_of,
    copies_joined,
    joined_now,
    kept_apart,
    worth_joining,
)
from registry.moderation.queries.voices import (
    VoiceFinding,
    accounts_of,
    finding_of,
    findings,
    foreseen_as_one,
)
from registry.moderation.rules import check_may_moderate
from registry.moderation.services import decide
from registry.moderation.services.voices import decide_voices, let_all_count
from registry.pages.forms.review import ReasonForm, VoicesForm
from registry.pages.problems import put_beside_fields, status_of

CANDIDATES_A_PAGE = 25
_CANDIDATE_DONE = {
    False: "They count as one now; it can be taken back.",
    True: "They go on counting by themselves, and are not raised again; it can be taken back.",
}


@login_required
@require_safe
def voices(request: HttpRequest) -> HttpResponse:
    """Every finding that waits. Moderators only."""
    check_may_moderate(request.user)
    return render(request, "pages/review_voices.html", {"findings": findings()})


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def voice(request: HttpRequest, public_id: str) -> HttpResponse:
    """One finding: who, on which grounds, what would change; and deciding. Moderators only."""
    check_may_moderate(request.user)
    finding = finding_of(public_id)
    form = VoicesForm(request.POST or None, accounts=finding.accounts)
    refusal, status = None, 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            sent = form.cleaned_data
            chosen = [one for one in finding.accounts if one.public_id in sent["accounts"]]
            try:
                made = decide_voices(by=request.user, act=sent["act"], accounts=chosen, reason=sent["reason"])
            except InvalidInput as error:
                put_beside_fields(form, error)
            except CleanstopError as error:
                refusal, status = error, status_of(error)[0]
            else:
                messages.success(request, _done(made.proposed))
                return redirect("review-decision", made.public_id)
    context = _about(finding) | {"form": form, "refusal": refusal}
    return render(request, "pages/review_voice.html", context, status=status)


@login_required
@require_POST
def count(request: HttpRequest, public_id: str) -> HttpResponse:
    """Let every waiting report of a finding's accounts count."""
    check_may_moderate(request.user)
    confirmed = let_all_count(by=request.user, accounts=finding_of(public_id).accounts)
    messages.success(request, f"{confirmed} report{' counts' if confirmed == 1 else 's count'} now.")
    return redirect("review-voice", public_id)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def joined(request: HttpRequest) -> HttpResponse:
    """What counts as one, what may be worth counting so, and what was looked at and kept apart. Moderators only."""
    check_may_moderate(request.user)
    refusal, status, form = None, 200, ReasonForm(request.POST or None)
    if request.method == "POST":
        try:
            made = _decide_candidate(request)
        except CleanstopError as error:
            refusal, status = error, status_of(error)[0]
        else:
            messages.success(request, _CANDIDATE_DONE[made.act == Act.KEEP_APART])
            return redirect("review-decision", made.public_id)
    context = {
        "decisions": _told(joined_now()),
        "copies": copies_joined(),
        "apart": _told(kept_apart()),
        "page": Paginator(worth_joining(), CANDIDATES_A_PAGE).get_page(request.GET.get("page")),
        "refusal": refusal,
        "form": form,
        "tried": request.POST.get("candidate", ""),
    }
    return render(request, "pages/review_joined.html", context, status=status)


def _told(rows: Iterable[Decision]) -> list[tuple[Decision, str, list[Account]]]:
    """Each with who decided, and the accounts that it is about."""
    return [(row, signed(row), accounts_of(row.details) if "accounts" in row.details else []) for row in rows]


def _decide_candidate(request: HttpRequest) -> Decision:
    candidate = candidate_of(request.POST.get("candidate", "")[:1000])
    if candidate is None:
        raise Conflict(
            Problem(
                code="no-candidate",
                field="candidate",
                says="These reports are decided about already, or no longer alike.",
                remedy="See what the list says now.",
            )
        )
    act = Act.KEEP_APART if request.POST.get("act") == Act.KEEP_APART else candidate.act
    return decide(by=request.user, act=act, reports=candidate.reports, reason=request.POST.get("reason", ""))


def _about(finding: VoiceFinding) -> dict:
    return {
        "finding": finding,
        "moved": foreseen_as_one(finding),
        "tests": [
            (account, [report for report in finding.tests if report.author_id == account.pk])
            for account in finding.accounts
        ],
    }


def _done(proposed: bool) -> str:
    if proposed:
        return "Proposed: it changes a verdict, so that a second moderator has to agree."
    return "Decided. It stands here for everyone to read, and can be taken back."
