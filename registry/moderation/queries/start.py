"""Everything that waits for a moderator, how old it is and who is at it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime

from registry.gear.doubles import doubles
from registry.moderation.models import Handling
from registry.moderation.queries.care import appeals_waiting, flagged
from registry.moderation.queries.catalogue import proposals
from registry.moderation.queries.decisions import summary_of, waiting_for_a_second
from registry.moderation.queries.desk import conflicts_waiting, handling_of
from registry.moderation.queries.joining import worth_joining
from registry.moderation.queries.voices import findings
from registry.reports.queries import reports_waiting
from registry.reports.rules.newcomers import HELD_IN_BURST

SHOWN = 5
LONGEST_KEY = 140  # of Handling


@dataclass(frozen=True)
class Thing:
    """One thing that waits. kind and key: as Handling names it."""

    kind: str
    key: str
    words: str
    since: datetime
    handled: Handling | None = None


@dataclass(frozen=True)
class Pile:
    """What waits of one kind. things: the first few, in the order in which they should be seen to."""

    kind: str
    count: int
    oldest: datetime | None
    things: tuple[Thing, ...]


def piles() -> list[Pile]:
    """Every kind of thing that can wait, with how much of it does."""
    return [_pile(kind, list(found())) for kind, found in _KINDS.items()]


def things_waiting(kind: str) -> list[Thing]:
    """All that waits of one kind, in the order in which it should be seen to."""
    return _with_handling(kind, _KINDS[kind]())


def thing_waiting(kind: str, key: str) -> Thing | None:
    return next(iter(_with_handling(kind, (one for one in _KINDS[kind]() if one.key == key))), None)


def _pile(kind: str, waiting: list[Thing]) -> Pile:
    oldest = min((one.since for one in waiting), default=None)
    return Pile(kind, len(waiting), oldest, tuple(_with_handling(kind, waiting[:SHOWN])))


def _with_handling(kind: str, things: Iterable[Thing]) -> list[Thing]:
    handled = handling_of(kind)
    return [replace(one, handled=handled.get(one.key)) for one in things]


def _conflicts() -> Iterator[Thing]:
    for one in conflicts_waiting():
        conflict = one.conflict
        words = f"{conflict.standing.lens}: {conflict.standing.words}"
        yield Thing("conflict", str(conflict.pk), words, conflict.opened_at)


def _seconds() -> Iterator[Thing]:
    for row in waiting_for_a_second():
        yield Thing("decision", row.public_id, f"{summary_of(row)}: {row.reason}", row.at)


def _waiting() -> Iterator[Thing]:
    # Those of a burst are looked at together.
    together = {account.pk for finding in findings() for account in finding.accounts}
    for report in reports_waiting():
        if report.state_reason == HELD_IN_BURST and report.author_id in together:
            continue
        yield Thing("waiting", report.public_id, f"{report.lens}, by {report.author}", report.submitted_at)


def _flags() -> Iterator[Thing]:
    for one in flagged():
        hidden = one.image is not None and bool(one.image.withheld)
        what = "Hidden picture of" if hidden else "Picture of" if one.image else "Report"
        yield Thing("flag", one.key, f"{what} {one.report.public_id}, {one.report.lens}", one.since)


def _appeals() -> Iterator[Thing]:
    for row in appeals_waiting():
        about = "a block" if row.block else "being counted as one voice" if row.voice else "a hidden picture"
        yield Thing("appeal", str(row.pk), f"{row.by}, against {about}", row.at)


def _voices() -> Iterator[Thing]:
    for one in findings():
        yield Thing("voices", one.key, one.words, one.since)


def _alike() -> Iterator[Thing]:
    for one in sorted(worth_joining(), key=lambda one: one.since):
        yield Thing("alike", one.key[:LONGEST_KEY], f"{one.lens}: {one.why}", one.since)


def _proposals() -> Iterator[Thing]:
    for item in proposals():
        yield Thing("proposal", f"{item._meta.model_name}:{item.slug}", str(item), item.created_at)


def _doubles() -> Iterator[Thing]:
    for pair in doubles():
        yield Thing(
            "doubles", pair.key[:LONGEST_KEY], f"{pair.first} · {pair.second}", pair.second.created_at
        )


_KINDS: dict[str, Callable[[], Iterator[Thing]]] = {
    "flag": _flags,
    "appeal": _appeals,
    "decision": _seconds,
    "voices": _voices,
    "waiting": _waiting,
    "conflict": _conflicts,
    "alike": _alike,
    "proposal": _proposals,
    "doubles": _doubles,
}
KINDS_WAITING = tuple(_KINDS)
