"""What counts as one voice, one copy, one source, and one light path. Decisions over loaded rows; no query."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from registry.consensus import evidence
from registry.gear.models import Adapter, Lens, Teleconverter
from registry.optics.stops import as_marked, full_stops_between, usual_narrowest
from registry.reports.models import Basis, ConversionKind, Copy, Report
from registry.reports.rules.sources import one_spelling, source_of

ON_SENSOR = {ConversionKind.LONG_PASS, ConversionKind.BAND_PASS, ConversionKind.DUAL_BAND}


@dataclass(frozen=True)
class LightPath:
    """A lens with the glass behind it that changes its optics: its own standings, never the bare lens's."""

    lens: Lens
    teleconverter: Teleconverter | None = None
    adapter: Adapter | None = None

    @property
    def key(self) -> tuple[int | None, int | None]:
        return (
            self.teleconverter.pk if self.teleconverter else None,
            self.adapter.pk if self.adapter else None,
        )

    @property
    def glass(self) -> tuple[str, str]:
        """Slugs of teleconverter and adapter, empty where there is none."""
        return (
            self.teleconverter.slug if self.teleconverter else "",
            self.adapter.slug if self.adapter else "",
        )

    @property
    def magnification(self) -> float:
        teleconverter = self.teleconverter.magnification if self.teleconverter else 1.0
        return teleconverter * (self.adapter.magnification if self.adapter else 1.0)

    @property
    def is_bare(self) -> bool:
        return self.key == (None, None)

    def __str__(self) -> str:
        return " with ".join(
            [str(self.lens), *(str(glass) for glass in (self.teleconverter, self.adapter) if glass)]
        )

    def optics(self, readings: Iterable[float] = ()) -> evidence.Lens:
        """The lens as the consensus sees it through this path: focal lengths and f-numbers magnified.

        readings: f-numbers reported through the path. Cameras that don't know of a converter record the lens's
        own f-number, so behind glass the path opens as wide as anyone reports.
        """
        lens, factor = self.lens, self.magnification
        narrowest = lens.narrowest_f or usual_narrowest(lens.widest_f_tele)
        if self.is_bare:
            widest, widest_tele = lens.widest_f, lens.widest_f_tele
        else:
            widest = min([as_marked(lens.widest_f * factor), *readings])
            widest_tele = max(widest, as_marked(lens.widest_f_tele * factor))
            narrowest = as_marked(narrowest * factor)
        return evidence.Lens(
            widest=widest,
            narrowest=min(narrowest, 64.0),
            focal_min=lens.focal_min_mm * factor,
            focal_max=lens.focal_max_mm * factor,
            widest_tele=widest_tele,
        )

    def ladder(self) -> list[float]:
        """The stops that a ladder of this path shows when nobody has tested it."""
        optics = self.optics()
        return full_stops_between(optics.widest, optics.narrowest)


def path_of(report: Report) -> LightPath:
    """An adapter without glass only holds the lens: the path is then the bare lens's."""
    adapter = report.adapter if report.adapter_id and report.adapter.has_glass else None
    return LightPath(report.lens, report.teleconverter, adapter)


@dataclass(frozen=True)
class People:
    """Who is who among those behind some reports.

    by_name: public ids of accounts by the names that relays cite, in one spelling (names_cited gives the names to look
    up). voices: for each account that speaks with one voice with others, the public id that stands for all of them.
    """

    by_name: Mapping[str, str] = field(default_factory=dict)
    voices: Mapping[str, str] = field(default_factory=dict)

    def voice_of(self, account: str) -> str:
        return f"account:{self.voices.get(account, account)}"


def tester_of(report: Report, people: People) -> str:
    """Whose observation it is. A relay's is the cited person's, or else the source's; never the account's that
    passes it on. A cited person who has an account here is that account; accounts that were found to speak with one
    voice are one tester.
    """
    if report.basis != Basis.RELAYED:
        return people.voice_of(report.author.public_id)
    name = one_spelling(report.tester_name)
    if name in people.by_name:
        return people.voice_of(people.by_name[name])
    return f"person:{name}" if name else f"source:{source_of(report) or report.public_id}"


def sources_by_report(reports: Iterable[Report], people: People) -> dict[int, str]:
    """Which publication each relay among these reports counts as, by the report's row; own tests have none.

    Whoever passes on one page twice passes on one thing. But a page where several named people each tell of
    their own test, such as a discussion, is as many sources as it has testers on that lens; what is passed on
    from there without a name adds no voice: it counts with the first of them by name.
    """
    relays = [(report, source) for report in reports if (source := source_of(report))]
    testers: dict[tuple[int, str], set[str]] = defaultdict(set)
    for report, source in relays:
        if report.tester_name:
            testers[report.lens_id, source].add(tester_of(report, people))
    counted = {}
    for report, source in relays:
        named = sorted(testers[report.lens_id, source])
        if len(named) > 1:
            own = tester_of(report, people) if report.tester_name else named[0]
            source = f"{source} by {own}"
        counted[report.pk] = source
    return counted


def names_cited(reports: Iterable[Report]) -> set[str]:
    return {one_spelling(report.tester_name) for report in reports if report.tester_name}


def filter_position_of(report: Report) -> str | None:
    """Where the cut happens; a converted body without a further filter cuts on the sensor."""
    if report.filter_position:
        return report.filter_position
    on_sensor = report.rig_id and not report.filter_id and report.rig.conversion in ON_SENSOR
    return "sensor" if on_sensor else None


def one_key_per_copy(copies: Iterable[Copy]) -> dict[int, str]:
    """Key of the physical example behind each copy's row: rows joined by serial number or by "same copy as"
    share one. The key is the smallest public id of the joined rows, so it does not depend on their order."""
    rows = list(copies)
    parent: dict[object, object] = {}

    def root(node: object) -> object:
        while parent.setdefault(node, node) != node:
            node = parent[node]
        return node

    for row in rows:
        for other in (row.same_as_id, row.serial_hash or None):
            if other is not None:
                parent[root(row.pk)] = root(other)
    names: dict[object, str] = {}
    for row in rows:
        group = root(row.pk)
        names[group] = min(names.get(group, row.public_id), row.public_id)
    return {row.pk: names[root(row.pk)] for row in rows}


def joined(keys: Mapping[int, str | None], bonds: Iterable[tuple[str, Iterable[int]]]) -> dict[int, str]:
    """Keys of reports by their row, made one wherever a bond joins them; reports without a key stay out.

    bonds: (name, rows of the reports that it joins). The key of what is joined is the smallest of its keys, or the
    bond's own name where none of its reports has one.
    """
    parent: dict[tuple[bool, str], tuple[bool, str]] = {}

    def root(node: tuple[bool, str]) -> tuple[bool, str]:
        while parent.setdefault(node, node) != node:
            node = parent[node]
        return node

    own = {pk: (False, key) for pk, key in keys.items() if key}
    for name, reports in bonds:
        for pk in reports:
            node = own.setdefault(pk, (True, name))
            first, second = sorted((root(node), root((True, name))))
            parent[second] = first  # a report's own key comes before a bond's name
    return {pk: root(node)[1] for pk, node in own.items()}


# An excess may be too small to see while the colour is not: tint is quoted from here up (methods, A1).
TINT_SEEN_EV = 0.07


def tinted_from(readings: Iterable, visible_ev: float) -> float | None:
    """The widest f-number at which most readings show a tint although their excess stays below the threshold;
    None when there is none. readings: rows with f_number, av, excess_ev, tint_rg, tint_bg."""
    votes: dict[float, list[bool]] = {}
    marks: dict[float, float] = {}
    for reading in readings:
        tints = [abs(tint) for tint in (reading.tint_rg, reading.tint_bg) if tint is not None]
        if not tints or reading.excess_ev is None:
            continue
        stop = round(reading.av * 6) / 6
        marks.setdefault(stop, reading.f_number)
        votes.setdefault(stop, []).append(max(tints) >= TINT_SEEN_EV and reading.excess_ev < visible_ev)
    seen = [stop for stop, cast in votes.items() if sum(cast) * 2 > len(cast)]
    return marks[min(seen)] if seen else None


def report_id_of(evidence_id: str) -> str:
    """The public id of the report that a piece of evidence came from."""
    return evidence_id.partition("@")[0].partition("#")[0]
