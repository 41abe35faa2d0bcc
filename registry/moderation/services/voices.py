"""Accounts that may be one person's: looking for signs of it, and deciding that they are, or are not."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from registry.accounts.addresses import KEPT_FOR
from registry.accounts.models import Account, AddressTrace
from registry.accounts.voices import key_of_each, voices_in_force
from registry.errors import Conflict, InvalidInput, Problem
from registry.gear.models import Lens
from registry.moderation.models import Act, Decision, Ground, VoiceSign
from registry.moderation.plan import Plan
from registry.moderation.queries.alike import frames_alike
from registry.moderation.queries.voices import own_tests, shared_tests, stops_alike
from registry.moderation.rules import ON_VOICES, check_may_moderate, checked_reason, needs_a_second
from registry.moderation.services.acts import carry_out
from registry.moderation.services.deciding import check_no_part, told, write_decision
from registry.reports.models import ReportState
from registry.reports.rules.newcomers import BURST_OF, NEW_FOR, registered_with
from registry.reports.services.confirming import confirm_report
from registry.standings.queries.supposing import WhatIf

MINUTES_TOGETHER = 60  # two accounts that registered within an hour are a sign; three or more within a day
FIRST_TESTS = 3


@transaction.atomic
def look_for_one_voice(account: Account, lens: Lens) -> int:
    """Note what makes an account look like others that tested the same lens; returns how many signs are new.

    Nothing follows from a sign but that moderators see it. Looking again adds nothing, and renews the figures.
    """
    fresh = 0
    for other, ground, figures in _signs(account, lens):
        first, second = sorted((account, other), key=lambda one: one.pk)
        _, added = VoiceSign.objects.update_or_create(
            first=first, second=second, lens=lens, ground=ground, defaults={"figures": figures}
        )
        fresh += added
    return fresh


def forget_address_signs(now: datetime | None = None) -> int:
    """Delete signs of a shared address that are 90 days old, as the addresses' codes are; returns how many."""
    old = (now or timezone.now()) - KEPT_FOR
    return VoiceSign.objects.filter(ground=Ground.ADDRESS, found_at__lt=old).delete()[0]


@transaction.atomic
def decide_voices(*, by: Account, act: str, accounts: Sequence[Account], reason: str) -> Decision:
    """Count accounts as one person's, on every lens, or state that they are several and need not be looked at again.

    Counting them as one is proposed only, where it changes a verdict. Raises InvalidInput, NotAllowed for who has a
    part in it, Conflict where they are decided about already.
    """
    check_may_moderate(by)
    reason = checked_reason(reason)
    pks = [account.pk for account in accounts]
    held = list(Account.objects.select_for_update(no_key=True).filter(pk__in=pks).order_by("pk"))
    _check_voices(act, held)
    plan = Plan(act, None, list(shared_tests(held)), accounts=held)
    check_no_part(by, plan)
    moved = WhatIf(*plan.lenses).moved(plan.supposed())
    details = {"accounts": [account.public_id for account in held], "expected": told(moved)}
    proposed = needs_a_second(act, any(one.verdict_changes for one in moved))
    if not proposed:
        details["outcome"] = carry_out(plan, by, reason, details)
    return write_decision(plan, by=by, reason=reason, proposed=proposed, details=details)


@transaction.atomic
def let_all_count(*, by: Account, accounts: Iterable[Account]) -> int:
    """Confirm every waiting report of these accounts at once; returns how many. Raises as confirm_report does."""
    check_may_moderate(by)
    waiting = own_tests().filter(author__in=list(accounts), state=ReportState.WAITING).order_by("pk")
    return len([confirm_report(report=report, by=by) for report in waiting])


def _signs(account: Account, lens: Lens) -> Iterator[tuple[Account, str, dict]]:
    others = Account.objects.filter(pk__in=own_tests().filter(lens=lens).values("author"), is_active=True)
    others = others.exclude(pk=account.pk)
    if account.is_active and own_tests().filter(author=account, lens=lens).exists():
        yield from _registered_together(account, others, lens)
        yield from _same_address(account, others)
        yield from _same_frames(account, lens)


def _registered_together(account: Account, others, lens: Lens) -> Iterator[tuple[Account, str, dict]]:
    """Others that registered with it, and whose first tests were of the same lens, as its own."""
    if not _among_first_tests(account, lens):
        return
    with_it = others.filter(pk__in=registered_with(account, lens).values("pk")).order_by("pk")
    together = [other for other in with_it if _among_first_tests(other, lens)]
    for other in together:
        apart = abs((other.joined_at - account.joined_at).total_seconds()) / 60
        if apart <= MINUTES_TOGETHER or len(together) + 1 >= BURST_OF:
            alike, shared = stops_alike(account, other, lens)
            figures = {"minutes_apart": round(apart), "accounts": len(together) + 1}
            yield other, Ground.TOGETHER, figures | {"alike_stops": alike, "shared_stops": shared}


def _among_first_tests(account: Account, lens: Lens) -> bool:
    first = own_tests().filter(author=account, submitted_at__lte=account.joined_at + NEW_FOR)
    tested = first.order_by("submitted_at", "pk").values_list("lens", flat=True)[:FIRST_TESTS]
    return lens.pk in tested


def _same_address(account: Account, others) -> Iterator[tuple[Account, str, dict]]:
    codes = account.address_traces.values("code")
    traces = AddressTrace.objects.filter(code__in=codes, account__in=others).select_related("account")
    latest = {trace.account: trace.seen_at for trace in traces.order_by("seen_at")}
    for other, seen_at in sorted(latest.items(), key=lambda one: one[0].pk):
        yield other, Ground.ADDRESS, {"seen_on": seen_at.date().isoformat()}


def _same_frames(account: Account, lens: Lens) -> Iterator[tuple[Account, str, dict]]:
    pairs = [pair for pair in frames_alike(account, lens) if pair.other.owner.is_active]
    for other in dict.fromkeys(pair.other.owner for pair in pairs):
        theirs = [pair for pair in pairs if pair.other.owner == other]
        yield (
            other,
            Ground.FRAMES,
            {
                "frames": len({pair.one.pk for pair in theirs}),
                "same_files": sum(pair.same_file for pair in theirs),
                "likeness": max(pair.likeness for pair in theirs),
            },
        )


def _check_voices(act: str, accounts: Sequence[Account]) -> None:
    if act not in ON_VOICES:
        raise InvalidInput(
            Problem(
                code="not-a-choice",
                field="act",
                value=act,
                says=f"“{act}” is no decision about accounts.",
                remedy=f"Use one of: {', '.join(ON_VOICES)}.",
            )
        )
    ids = [account.public_id for account in accounts]
    if len(ids) < 2:
        raise InvalidInput(
            Problem(
                code="accounts-to-join",
                field="accounts",
                value=ids,
                says="It takes two accounts to be one person’s, or two people’s.",
                remedy="Choose two or more.",
            )
        )
    own = key_of_each(voices_in_force())
    joined = [
        one
        for one in ids
        if any(own.get(one) == own.get(other) for other in ids if other != one and one in own)
    ]
    if joined and (act == Act.OWN_VOICES or len(joined) == len(ids)):
        raise Conflict(
            Problem(
                code="one-voice-already",
                field="accounts",
                value=joined,
                says="They count as one voice already.",
                remedy="Take that decision back first.",
            )
        )
