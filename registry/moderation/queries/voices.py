"""Accounts that look like one person's: who they are, why it looks so, and what was decided about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations
from typing import Any

from django.db.models import Count, QuerySet

from registry.accounts.models import Account, SharedVoice
from registry.accounts.voices import key_of_each, voices_in_force
from registry.errors import NotFound, Problem
from registry.gear.models import Lens
from registry.moderation.models import Act, Decision, Ground, VoiceSign
from registry.moderation.queries.decisions import (
    IN_FORCE,
    WAITING,
    decision_by_id,
    decisions,
    outcome_of,
    status_of,
)
from registry.reports.models import Basis, Reading, Report, ReportState
from registry.standings.queries.supposing import Moved, Supposition, WhatIf

SHOWN_STATES = (ReportState.WAITING, ReportState.SUBMITTED, ReportState.SET_ASIDE)
EV_ALIKE = 0.05  # measured excess at one stop that close is alike; grades are where they are equal


@dataclass(frozen=True)
class VoiceFinding:
    """Accounts that look like one person's, linked pair by pair, with every sign of it. tests: theirs on the lenses
    that several of them tested. Nothing is decided by it."""

    accounts: tuple[Account, ...]
    signs: tuple[VoiceSign, ...]
    tests: tuple[Report, ...]

    @property
    def key(self) -> str:
        """The finding's address: one of its accounts, the one that was there first."""
        return self.accounts[0].public_id

    @property
    def since(self) -> datetime:
        return min(sign.found_at for sign in self.signs)

    @property
    def waiting(self) -> list[Report]:
        return [report for report in self.tests if report.state == ReportState.WAITING]

    @property
    def lenses(self) -> list[Lens]:
        return sorted({sign.lens for sign in self.signs}, key=str)

    @property
    def words(self) -> str:
        named = [str(account) for account in self.accounts]
        grounds = list(dict.fromkeys(Ground(sign.ground).label for sign in self.signs))
        return f"{', '.join(named[:-1])} and {named[-1]} {'; '.join(grounds)}"


def own_tests() -> QuerySet[Report]:
    """Public reports of their authors' own tests; what someone passes on is not their voice."""
    return Report.objects.filter(basis__in=(Basis.MEASURED, Basis.GRADED), state__in=SHOWN_STATES)


def shared_tests(accounts: Sequence[Account]) -> QuerySet[Report]:
    """These accounts' tests of lenses that at least two of them tested."""
    theirs = own_tests().filter(author__in=accounts)
    shared = theirs.order_by().values("lens").annotate(testers=Count("author", distinct=True))
    rows = theirs.filter(lens__in=shared.filter(testers__gt=1).values("lens"))
    return rows.select_related("lens__maker", "author").order_by("lens__slug", "submitted_at", "pk")


def findings() -> list[VoiceFinding]:
    """What waits for a moderator: accounts with signs that nobody has decided about, the oldest first."""
    signs = VoiceSign.objects.select_related("first", "second", "lens__maker").order_by("found_at", "pk")
    settled = _settled_pairs()
    waiting = [sign for sign in signs if _pair(sign.first, sign.second) not in settled]
    return sorted((_finding(group) for group in _linked(waiting)), key=lambda one: (one.since, one.key))


def finding_of(public_id: str) -> VoiceFinding:
    """The finding that an account is in. Raises NotFound where it is in none."""
    for one in findings():
        if public_id in [account.public_id for account in one.accounts]:
            return one
    raise NotFound(
        Problem(
            code="unknown-voice-finding",
            field="account",
            value=public_id,
            says=f"Nothing is to be decided about account “{public_id}”.",
            remedy="Look at the list of accounts that look like one.",
        )
    )


def foreseen_as_one(finding: VoiceFinding) -> list[Moved]:
    """What standings would say if these accounts counted as one voice; computed, not written."""
    supposed = Supposition(one_voice=frozenset(account.public_id for account in finding.accounts))
    lenses = list(dict.fromkeys(report.lens for report in finding.tests))
    return WhatIf(*lenses).moved(supposed) if lenses else []


def accounts_of(details: Mapping[str, Any]) -> list[Account]:
    """The accounts that a decision's details name."""
    return list(Account.objects.filter(public_id__in=details.get("accounts", ())).order_by("pk"))


def decision_behind(voice: SharedVoice) -> Decision | None:
    """The decision by which accounts count as one voice; None where none did."""
    told = Decision.objects.filter(details__outcome__voice=voice.name).select_related("about").first()
    # A proposal takes effect by the answer that agreed to it.
    return told and decision_by_id((told.about or told).public_id)


def voice_made_by(decision: Decision) -> SharedVoice:
    """What a decision made count as one voice. Raises NotFound for another kind of decision, or one not in effect."""
    voice = SharedVoice.objects.filter(name=outcome_of(decision).get("voice", "")).first()
    if voice is None:
        raise NotFound(
            Problem(
                code="unknown-voice",
                field="decision",
                value=decision.public_id,
                says=f"By decision {decision.public_id} no accounts count as one voice.",
                remedy="Name the decision that says so; its notice leads to it.",
            )
        )
    return voice


def stops_alike(one: Account, other: Account, lens: Lens) -> tuple[int, int]:
    """At how many stops two accounts read alike on a lens, and how many both read."""
    first, second = (_readings(account, lens) for account in (one, other))
    shared = sorted(set(first) & set(second))
    return sum(_reads_alike(first[stop], second[stop]) for stop in shared), len(shared)


def _readings(account: Account, lens: Lens) -> dict[tuple[float, float], Reading]:
    """By focal length and f-number; of several the latest."""
    rows = Reading.objects.filter(sweep__report__in=own_tests().filter(author=account, lens=lens))
    return {
        (row.sweep.focal_length_mm, row.f_number): row for row in rows.select_related("sweep").order_by("pk")
    }


def _reads_alike(one: Reading, other: Reading) -> bool:
    if one.excess_ev is not None and other.excess_ev is not None:
        return abs(one.excess_ev - other.excess_ev) <= EV_ALIKE
    return one.grade is not None and one.grade == other.grade


def _settled_pairs() -> set[frozenset[str]]:
    """Pairs that count as one voice, that were decided to be two, or about which a proposal waits."""
    own = key_of_each(voices_in_force())
    groups: list[Iterable[str]] = [
        [account for account, key in own.items() if key == shared] for shared in set(own.values())
    ]
    decided = decisions().filter(act__in=(Act.OWN_VOICES, Act.SAME_VOICE))
    for row in decided:
        state = status_of(row).code
        if state == WAITING or (state == IN_FORCE and row.act == Act.OWN_VOICES):
            groups.append(row.details["accounts"])
    return {frozenset(pair) for group in groups for pair in combinations(group, 2)}


def _linked(signs: Sequence[VoiceSign]) -> list[list[VoiceSign]]:
    """Signs that share accounts, together."""
    groups: list[tuple[set[int], list[VoiceSign]]] = []
    for sign in signs:
        mine = [group for group in groups if group[0] & {sign.first_id, sign.second_id}]
        people = {sign.first_id, sign.second_id}.union(*(group[0] for group in mine))
        own = [one for group in mine for one in group[1]] + [sign]
        groups = [group for group in groups if group not in mine] + [(people, own)]
    return [own for _, own in groups]


def _finding(signs: Sequence[VoiceSign]) -> VoiceFinding:
    people = {account.pk: account for sign in signs for account in (sign.first, sign.second)}
    accounts = tuple(people[pk] for pk in sorted(people))
    return VoiceFinding(accounts, tuple(signs), tuple(shared_tests(accounts)))


def _pair(one: Account, other: Account) -> frozenset[str]:
    return frozenset((one.public_id, other.public_id))
