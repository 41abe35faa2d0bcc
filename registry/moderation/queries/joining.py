"""Reports that count as one, and reports that may be worth joining: for moderators to look at."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations

from django.db.models import BigIntegerField, Count, QuerySet, Sum
from django.db.models.functions import Cast, Round

from registry.gear.models import Lens
from registry.moderation.models import Act, Decision
from registry.moderation.queries.decisions import decisions, in_force
from registry.moderation.rules import JOINING
from registry.reports.models import Basis, Copy, Reading, Report, ReportState
from registry.reports.rules.sources import one_spelling, source_of
from registry.standings.queries.evidence import bonds_among
from registry.standings.rules import one_key_per_copy

# Labels that tell nothing of which copy it is.
PLAIN_LABELS = {"", "my copy", "my own", "mine", "own copy", "copy"}
STOPS_TO_COMPARE = 4  # measured alike by chance at that many stops, to a thousandth of an EV: not seen
THOUSANDTHS = 1000

Alike = tuple[str, str, frozenset[int]]  # the act that would join them, why, the reports by their rows


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

    @property
    def since(self) -> datetime:
        """When the last of them came in."""
        return max(report.submitted_at for report in self.reports)


def joined_now() -> list[Decision]:
    """Decisions in force by which reports, or accounts, count as one; newest first."""
    return in_force(decisions().filter(act__in=(*JOINING, Act.SAME_VOICE)))


def kept_apart() -> list[Decision]:
    """Decisions in force by which reports that look alike are evidence of their own; newest first."""
    return in_force(decisions().filter(act=Act.KEEP_APART))


def copies_joined() -> list[list[Copy]]:
    """Copies that are one by their serial numbers, or by their holders' word, each group by its lens."""
    named = Copy.objects.exclude(serial_hash="", same_as=None).values("lens")
    rows = list(Copy.objects.filter(lens__in=named).select_related("lens__maker", "holder").order_by("pk"))
    groups: dict[str, list[Copy]] = defaultdict(list)
    keys = one_key_per_copy(rows)
    for row in rows:
        groups[keys[row.pk]].append(row)
    return [group for group in groups.values() if len(group) > 1]


def worth_joining(*lenses: Lens) -> list[Candidate]:
    """Candidates over the reports that count on these lenses, or on all, by lens.

    Reports are listed once, under everything that makes them look alike. Left out are those that moderators have
    joined, or kept apart. Whole reports are only read where something looks alike.
    """
    counting = Report.objects.filter(state=ReportState.SUBMITTED).order_by("pk")
    if lenses:
        counting = counting.filter(lens__in=lenses)
    alike = _folded([*_measured_alike(counting), *_relays_alike(counting), *_labels_alike(counting)])
    pks = set[int]().union(*(rows for _, _, rows in alike))
    reports = Report.objects.filter(pk__in=pks).select_related("lens__maker", "author", "copy").in_bulk()
    found = [_candidate(act, why, [reports[pk] for pk in sorted(rows)]) for act, why, rows in alike]
    settled = _settled(list(reports.values()))
    waiting = [one for one in found if _pairs(one.reports) - settled]
    return sorted(waiting, key=lambda one: (str(one.lens), one.reports[0].pk))


def candidate_of(key: str) -> Candidate | None:
    """The candidate of this key, as it still stands."""
    named = Report.objects.filter(public_id__in=key.split()[1:2]).select_related("lens__maker").first()
    return next((one for one in worth_joining(named.lens) if one.key == key), None) if named else None


def _candidate(act: str, why: str, reports: Sequence[Report]) -> Candidate:
    return Candidate(reports[0].lens, act, why, tuple(reports))


def _folded(alike: Sequence[Alike]) -> list[Alike]:
    """Each group once: one that lies within another adds only what makes it look alike."""
    folded: list[Alike] = []
    for act, why, rows in sorted(alike, key=lambda one: -len(one[2])):
        place = next((place for place, (_, _, wider) in enumerate(folded) if rows <= wider), None)
        if place is None:
            folded.append((act, why, rows))
        elif why not in folded[place][1]:
            its_act, its_why, wider = folded[place]
            folded[place] = (its_act, f"{its_why}; {why[0].lower()}{why[1:]}", wider)
    return folded


def _settled(reports: Sequence[Report]) -> set[frozenset[int]]:
    """Pairs that are joined, or that were looked at and kept apart."""
    groups: list[Collection[int]] = [bond.reports for bond in bonds_among(list(reports))]
    groups += [[report.pk for report in row.reports.all()] for row in kept_apart()]
    return {frozenset(pair) for group in groups for pair in combinations(sorted(group), 2)}


def _pairs(reports: Sequence[Report]) -> set[frozenset[int]]:
    """Those of several people: what one person tells twice counts once anyway."""
    told_by = {report.pk: (report.author_id, one_spelling(report.tester_name)) for report in reports}
    return {frozenset(pair) for pair in combinations(told_by, 2) if told_by[pair[0]] != told_by[pair[1]]}


def _labels_alike(counting: QuerySet[Report]) -> Iterator[Alike]:
    """Copies of several holders under one label, unless their serial numbers tell them apart or join them."""
    named: dict[tuple[int, str], list[tuple[int, int, str, str]]] = defaultdict(list)
    columns = ("pk", "lens", "copy__label", "copy__holder", "copy__serial_hash")
    for pk, lens, label, holder, serial in counting.exclude(copy=None).values_list(*columns).iterator():
        if one_spelling(label) not in PLAIN_LABELS:
            named[lens, one_spelling(label)].append((pk, holder, serial, label))
    for rows in named.values():
        pks, holders, serials, labels = zip(*rows, strict=True)
        if len(set(holders)) > 1 and len(set(serials) - {""}) < 2 and not all(serials):
            yield Act.SAME_COPY, f"Several people’s copies are called “{labels[0]}”", frozenset(pks)


def _relays_alike(counting: QuerySet[Report]) -> Iterator[Alike]:
    relays = list(
        counting.filter(basis=Basis.RELAYED).only(
            "pk", "lens_id", "basis", "citation_url", "citation_title", "tester_name"
        )
    )
    yield from _told_as_several(relays, source_of, _tester, "One page, told of as several people’s tests")
    yield from _told_as_several(relays, _titled, source_of, "One title under several addresses")


def _told_as_several(
    relays: Sequence[Report],
    alike_in: Callable[[Report], str | None],
    apart_by: Callable[[Report], str | None],
    why: str,
) -> Iterator[Alike]:
    """Relays alike in one thing that count as several voices by another."""
    alike: dict[tuple[int, str], list[Report]] = defaultdict(list)
    for report in relays:
        if told := alike_in(report):
            alike[report.lens_id, told].append(report)
    for rows in alike.values():
        if len({apart_by(row) for row in rows} - {None}) > 1:
            yield Act.SAME_SOURCE, why, frozenset(row.pk for row in rows)


def _tester(report: Report) -> str | None:
    """Whose test a relay tells of, where it says so; unnamed ones of one page add no voice."""
    return one_spelling(report.tester_name) or None


def _titled(report: Report) -> str | None:
    """A title, of those that state an address too: without one the title is the source."""
    return one_spelling(report.citation_title) or None if report.citation_url else None


def _measured_alike(counting: QuerySet[Report]) -> Iterator[Alike]:
    """Reports of several authors whose measurements are the same throughout."""
    authors = _equal_in_sum(counting)
    alike: dict[tuple, list[int]] = defaultdict(list)
    for pk, (lens, measured) in _measurements(authors).items():
        alike[lens, measured].append(pk)
    for (_, measured), rows in alike.items():
        if len(measured) >= STOPS_TO_COMPARE and len({authors[pk] for pk in rows}) > 1:
            yield Act.SAME_FRAMES, "Measured alike to the last digit, at every stop", frozenset(rows)


def _equal_in_sum(counting: QuerySet[Report]) -> dict[int, int]:
    """Reports, with their authors, that share lens, number and sum of readings with another: the few that are worth
    comparing reading by reading. Whole thousandths, so that the order of adding doesn't matter."""
    thousandths = Cast(Round("sweeps__readings__excess_ev", precision=3) * THOUSANDTHS, BigIntegerField())
    summed = (
        counting.filter(sweeps__readings__excess_ev__isnull=False)
        .order_by()
        .values_list("pk", "lens", "author")
        .annotate(stops=Count("sweeps__readings"), total=Sum(thousandths))
        .filter(stops__gte=STOPS_TO_COMPARE)
    )
    alike: dict[tuple[int, int, int], dict[int, int]] = defaultdict(dict)
    for pk, lens, author, stops, total in summed.iterator():
        alike[lens, stops, total][pk] = author
    groups = [group for group in alike.values() if len(set(group.values())) > 1]
    return {pk: author for group in groups for pk, author in group.items()}


def _measurements(pks: Collection[int]) -> Mapping[int, tuple[int, frozenset]]:
    """By report its lens, and its readings: focal length, f-number and excess to a thousandth of an EV."""
    columns = ("sweep__report", "sweep__report__lens", "sweep__focal_length_mm", "f_number", "excess_ev")
    rows = Reading.objects.filter(sweep__report__in=pks, excess_ev__isnull=False).order_by()
    lenses: dict[int, int] = {}
    readings: dict[int, set[tuple[float, float, float]]] = defaultdict(set)
    for pk, lens, focal_length_mm, f_number, excess_ev in rows.values_list(*columns):
        lenses[pk] = lens
        readings[pk].add((focal_length_mm, f_number, round(excess_ev, 3)))
    return {pk: (lenses[pk], frozenset(own)) for pk, own in readings.items()}
