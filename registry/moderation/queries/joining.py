"""Reports that count as one, and reports that may be worth joining: for moderators to look at."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from registry.gear.models import Lens
from registry.moderation.models import Act, Decision
from registry.moderation.queries.decisions import IN_FORCE, decisions, status_of
from registry.moderation.rules import JOINING
from registry.reports.models import Basis, Copy, Report
from registry.reports.rules.sources import one_spelling, source_of
from registry.standings.queries.evidence import bonds_among, counting_reports
from registry.standings.rules import one_key_per_copy

# Labels that tell nothing of which copy it is.
PLAIN_LABELS = {"", "my copy", "my own", "mine", "own copy", "copy"}
STOPS_TO_COMPARE = 4  # measured alike by chance at that many stops, to a thousandth of an EV: not seen


@dataclass(frozen=True)
class Candidate:
    """Reports on one lens by several people that may be one piece of evidence. act: the decision that would say so;
    why: in words."""

    lens: Lens
    act: str
    why: str
    reports: tuple[Report, ...]

    @property
    def key(self) -> str:
        return " ".join([self.act, *(report.public_id for report in self.reports)])


def joined_now() -> list[Decision]:
    """Decisions in force by which reports, or accounts, count as one; newest first."""
    rows = decisions().filter(act__in=(*JOINING, Act.SAME_VOICE))
    return [row for row in rows if status_of(row).code == IN_FORCE]


def copies_joined() -> list[list[Copy]]:
    """Copies that are one by their serial numbers, or by their holders' word, each group by its lens."""
    named = Copy.objects.exclude(serial_hash="", same_as=None).values("lens")
    rows = list(Copy.objects.filter(lens__in=named).select_related("lens__maker", "holder").order_by("pk"))
    groups: dict[str, list[Copy]] = defaultdict(list)
    keys = one_key_per_copy(rows)
    for row in rows:
        groups[keys[row.pk]].append(row)
    return [group for group in groups.values() if len(group) > 1]


def worth_joining() -> list[Candidate]:
    """Candidates over all reports that count, by lens; those that are joined already are left out."""
    by_lens: dict[Lens, list[Report]] = defaultdict(list)
    reports = counting_reports()
    for report in reports:
        by_lens[report.lens].append(report)
    bonds = [bond.reports for bond in bonds_among(reports)]
    found = [one for lens in sorted(by_lens, key=str) for one in _on(lens, by_lens[lens])]
    return [one for one in found if not any({row.pk for row in one.reports} <= bond for bond in bonds)]


def candidate_of(key: str) -> Candidate | None:
    """The candidate of this key, as it still stands."""
    return next((one for one in worth_joining() if one.key == key), None)


def _on(lens: Lens, reports: Sequence[Report]) -> Iterator[Candidate]:
    yield from _by_label(lens, reports)
    relays = [report for report in reports if report.basis == Basis.RELAYED]
    yield from _by(lens, relays, source_of, "One page, told of as several people’s tests")
    yield from _by(lens, relays, _titled, "One title under several addresses")
    yield from _measured_alike(lens, reports)


def _by_label(lens: Lens, reports: Sequence[Report]) -> Iterator[Candidate]:
    """Copies of several holders under one label, unless their serial numbers tell them apart or join them."""
    named: dict[str, list[Report]] = defaultdict(list)
    for report in reports:
        label = one_spelling(report.copy.label) if report.copy_id else ""
        if label not in PLAIN_LABELS:
            named[label].append(report)
    for rows in named.values():
        serials = [row.copy.serial_hash for row in rows]
        holders = {row.copy.holder_id for row in rows}
        if len(holders) > 1 and len(set(serials) - {""}) < 2 and not all(serials):
            why = f"Several people’s copies are called “{rows[0].copy.label}”"
            yield Candidate(lens, Act.SAME_COPY, why, tuple(rows))


def _by(
    lens: Lens, relays: Sequence[Report], key: Callable[[Report], str | None], why: str
) -> Iterator[Candidate]:
    """Relays alike in one thing that count as several voices: by several named people, or from several pages."""
    alike: dict[str, list[Report]] = defaultdict(list)
    for report in relays:
        if told := key(report):
            alike[told].append(report)
    for rows in alike.values():
        if len({(source_of(row), one_spelling(row.tester_name)) for row in rows if row.tester_name}) > 1:
            yield Candidate(lens, Act.SAME_SOURCE, why, tuple(rows))


def _titled(report: Report) -> str | None:
    """A title, of those that state an address too: without one the title is the source."""
    return one_spelling(report.citation_title) or None if report.citation_url else None


def _measured_alike(lens: Lens, reports: Sequence[Report]) -> Iterator[Candidate]:
    """Reports of several authors whose measurements are the same throughout."""
    alike: dict[frozenset, list[Report]] = defaultdict(list)
    for report in reports:
        alike[_measured(report)].append(report)
    for measured, rows in alike.items():
        if len(measured) >= STOPS_TO_COMPARE and len({row.author_id for row in rows}) > 1:
            why = "Measured alike to the last digit, at every stop"
            yield Candidate(lens, Act.SAME_FRAMES, why, tuple(rows))


def _measured(report: Report) -> frozenset[tuple[float, float, float]]:
    return frozenset(
        (sweep.focal_length_mm, reading.f_number, round(reading.excess_ev, 3))
        for sweep in report.sweeps.all()
        for reading in sweep.readings.all()
        if reading.excess_ev is not None
    )
