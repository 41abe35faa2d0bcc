"""The moderators' start page: what waits, how old, who is at it; and how the registry fares."""

from __future__ import annotations

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from registry.errors import InvalidInput, Problem
from registry.moderation.queries.figures import figures_now, figures_over_time
from registry.moderation.queries.start import Pile, piles
from registry.moderation.rules import check_may_moderate
from registry.moderation.services import hand_back, take_on

# What each kind is called, and where it is seen to.
KINDS = {
    "flag": ("Flagged by readers", "review-flags"),
    "appeal": ("Appeals", "review-appeals"),
    "decision": ("Waiting for a second moderator", "review-conflicts"),
    "voices": ("Accounts that look like one person’s", "review-voices"),
    "waiting": ("Reports of newcomers that wait for a confirmation", "waiting-reports"),
    "conflict": ("Reports that contradict each other", "review-conflicts"),
    "alike": ("Reports that may be told twice", "review-joined"),
    "proposal": ("Proposed gear", "review-catalogue"),
    "doubles": ("Gear that may be one and the same", "review-catalogue"),
}


@login_required
@require_safe
def desk(request: HttpRequest) -> HttpResponse:
    """Moderators only."""
    check_may_moderate(request.user)
    waiting = [pile for pile in piles() if pile.count]
    context = {
        "piles": [(pile, *KINDS[pile.kind], _links(pile)) for pile in waiting],
        "empty": not waiting,
        "now": figures_now(),
        "noted": figures_over_time(),
    }
    return render(request, "pages/desk.html", context)


@login_required
@require_POST
def handle(request: HttpRequest) -> HttpResponse:
    """Take something on, so that others see it, or hand it back."""
    kind, key = request.POST.get("kind", ""), request.POST.get("key", "")
    if kind not in KINDS or not 0 < len(key) <= 140:
        raise InvalidInput(
            Problem(
                code="not-a-choice",
                field="kind",
                value=kind[:40],
                says="It is not said what to take on.",
                remedy="Use the buttons of the desk.",
            )
        )
    (hand_back if request.POST.get("act") == "back" else take_on)(by=request.user, kind=kind, key=key)
    return redirect("desk")


def _links(pile: Pile) -> list[tuple]:
    """Each thing with the address of its own page, or of its kind's."""
    own = {
        "conflict": "review-conflict",
        "decision": "review-decision",
        "voices": "review-voice",
        "waiting": "report",
    }
    return [
        (
            thing,
            reverse(own[pile.kind], args=[thing.key]) if pile.kind in own else reverse(KINDS[pile.kind][1]),
        )
        for thing in pile.things
    ]
