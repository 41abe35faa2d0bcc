"""What changed in the standings, told from the ledger: what a feed's entry, a digest and a notice all say."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from registry.accounts.models import Account
from registry.consensus.cells import band_label, zone_label
from registry.gear.models import Adapter, Lens, Teleconverter
from registry.ledger.models import Event
from registry.reports.models import Report
from registry.reports.queries import PUBLIC_STATES

CHANGED = "standing.changed"
CAUSES = {
    "report.submitted": "came in",
    "report.confirmed": "was confirmed",
    "report.revised": "was revised",
    "report.withdrawn": "was withdrawn",
    "report.set-aside": "was set aside",
    "report.restored": "counts again",
    "report.remeasured": "was measured again",
}
REPORTS_NAMED = 10


@dataclass(frozen=True)
class Move:
    """One standing that says something else now. where: its cut-on, focal lengths and glass, in words."""

    where: str
    before: str
    after: str

    def __str__(self) -> str:
        told = f"{self.where}: {self.after}"
        return f"{told}; before that {self.before}" if self.before else told


@dataclass(frozen=True)
class Change:
    """One refresh of a lens that moved standings. reports: those that caused it, or, where everything was worked
    out anew, those it rests on."""

    sequence: int
    at: datetime
    lens: Lens
    moves: tuple[Move, ...]
    cause: str
    reports: tuple[Report, ...]

    @property
    def title(self) -> str:
        first, *more = self.moves
        return f"{self.lens}: {first.after}" + (f", and {len(more)} more" if more else "")


def change_events(
    *, lenses: QuerySet[Lens] | None = None, since: datetime | None = None, until: datetime | None = None
) -> QuerySet[Event]:
    """Changes of standings, newest first. since: not before; until: before."""
    events = Event.objects.filter(name=CHANGED).order_by("-sequence")
    if lenses is not None:
        events = events.filter(subject_kind="lens", subject_id__in=lenses.values("slug"))
    if since is not None:
        events = events.filter(at__gte=since)
    return events if until is None else events.filter(at__lt=until)


def told(events: Iterable[Event]) -> list[Change]:
    """These changes in words, in their order, in a handful of statements however many they are."""
    events = list(events)
    lenses = _by_slug(Lens, [event.data["lens"] for event in events])
    glass = {
        kind: _by_slug(model, [move.get(kind) for event in events for move in event.data["changes"]])
        for kind, model in (("teleconverter", Teleconverter), ("adapter", Adapter))
    }
    causes = _causes_of(events)
    resting = _resting_on([lenses[event.data["lens"]] for event in events if _is_whole(event, lenses)])
    found = []
    for event in events:
        lens = lenses.get(event.data["lens"])
        if lens is None:
            continue  # taken out of the catalogue since
        cause, reports = causes.get(event.data.get("cause_event"), (None, ()))
        if cause is None:
            cause, reports = "Everything was worked out anew", resting.get(lens.pk, ())
        moves = tuple(_move(lens, move, glass) for move in event.data["changes"])
        found.append(Change(event.sequence, event.at, lens, moves, cause, tuple(reports)))
    return found


def _move(lens: Lens, move: dict, glass: dict[str, dict]) -> Move:
    zone = zone_label(move["focal_zone"], lens.focal_min_mm, lens.focal_max_mm)
    pieces = [str(glass[kind].get(move[kind], move[kind])) for kind in glass if move.get(kind)]
    where = ", ".join([band_label(move["cut_on_group"]).capitalize(), zone])
    return Move(where + (f", with {' and '.join(pieces)}" if pieces else ""), move["before"], move["after"])


def _is_whole(event: Event, lenses: dict[str, Lens]) -> bool:
    return event.data.get("cause_event") is None and event.data["lens"] in lenses


def _causes_of(events: list[Event]) -> dict[int, tuple[str, list[Report]]]:
    """What made each change necessary, by the sequence of the event that did, with the report it was about."""
    sequences = {event.data.get("cause_event") for event in events} - {None}
    acts = [act for act in Event.objects.filter(pk__in=sequences) if act.name in CAUSES]
    reports = {
        report.public_id: report
        for report in _public_reports().filter(public_id__in={act.subject_id for act in acts})
    }
    names = dict(
        Account.objects.filter(public_id__in={act.actor for act in acts}).values_list("public_id", "name")
    )
    told_of = {}
    for act in acts:
        report = reports.get(act.subject_id)
        by = f" by {report.author}" if report else ""
        reason = act.data.get("reason")
        words = f"A report{by} {CAUSES[act.name]}"
        if act.name in ("report.set-aside", "report.restored") and act.actor in names:
            words += f", decided by {names[act.actor]}"
        told_of[act.sequence] = (words + (f": {reason}" if reason else ""), [report] if report else [])
    return told_of


def _resting_on(lenses: list[Lens]) -> dict[int, list[Report]]:
    """The counting reports on these lenses, newest first, by lens."""
    found: dict[int, list[Report]] = {}
    for report in _public_reports().filter(lens__in=lenses, state="submitted").order_by("-submitted_at"):
        mine = found.setdefault(report.lens_id, [])
        if len(mine) < REPORTS_NAMED:
            mine.append(report)
    return found


def _public_reports() -> QuerySet[Report]:
    return Report.objects.filter(state__in=PUBLIC_STATES).select_related("author")


def _by_slug(model, slugs: Iterable[str | None]) -> dict:
    return {
        item.slug: item for item in model.objects.select_related("maker").filter(slug__in=set(slugs) - {None})
    }
