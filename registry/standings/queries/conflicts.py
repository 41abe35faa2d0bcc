"""A conflict told side by side: who stands where, under which conditions, with which frames and sweeps."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from registry.consensus.causes import Cause
from registry.consensus.cells import band_label
from registry.consensus.constants import GRADE_EV
from registry.errors import NotFound, Problem
from registry.gear.models import Body
from registry.optics.stops import exact_av
from registry.reports.models import FilterPosition, ImagePurpose, Report
from registry.reports.queries import FrameShown, frames_of, overlay_of
from registry.standings.models import Conflict, Standing
from registry.standings.queries.conditions import FACTORS, METHODS_TOLD, bodies_named, side_name
from registry.standings.queries.sayings import CAMP_ORDER
from registry.standings.rules import LightPath

CAMP_NAMES = {
    "sooner": "Hot sooner",
    "later": "Hot later",
    "suspect": "Stands apart",
    "others": "The others",
}
STOPS_SHOWN = 4
FRAMES_A_CAMP = 2
MOST_VALUES = 4
# Posterior odds in words, on the scale that Kass and Raftery (1995, J. Am. Stat. Assoc. 90, 773) give for evidence.
SOME_EVIDENCE = 3
STRENGTHS = (
    (150, "very strong"),
    (20, "strong"),
    (SOME_EVIDENCE, "some"),
    (1, "hardly any"),
    (0, "nothing for it"),
)


@dataclass(frozen=True)
class Side:
    """One camp. name: as stored; title: for people; told: its evidence as the conflict stores it, sooner hot first."""

    name: str
    title: str
    told: tuple[Mapping, ...]
    reports: tuple[Report, ...]


@dataclass(frozen=True)
class Difference:
    """One condition in a row: its values with counts in either camp, and in words whether they differ."""

    factor: str
    words: str
    values: tuple[str, ...]
    differs: str


@dataclass(frozen=True)
class Explanation:
    """A candidate, ranked. strength: in words; odds: "23 to 1"; sides: what it is at one and the other;
    groups: the same as stored."""

    factor: str
    words: str
    strength: str
    odds: str
    posterior: float
    effect_stops: float
    groups: tuple[str, str]
    sides: tuple[str, str]


@dataclass(frozen=True)
class Curve:
    """One sweep of one report. camp: its place; points: (f-number, EV, whether a grade stands for it)."""

    camp: int
    report: str
    points: tuple[tuple[float, float, bool], ...]


def conflicts() -> QuerySet[Conflict]:
    """Every conflict with its standing and lens."""
    return Conflict.objects.select_related(
        "standing__lens__maker", "standing__teleconverter__maker", "standing__adapter__maker"
    ).order_by("-id")


def conflict_by_id(number: int) -> Conflict:
    """Raises NotFound."""
    found = conflicts().filter(pk=number).first()
    if found is None:
        raise NotFound(
            Problem(
                code="unknown-conflict",
                field="conflict",
                value=number,
                says=f"There is no conflict {number}.",
                remedy="Look it up in the list of conflicts.",
            )
        )
    return found


def path_of_conflict(conflict: Conflict) -> LightPath:
    row: Standing = conflict.standing
    return LightPath(row.lens, row.teleconverter, row.adapter)


def sides_told(conflict: Conflict) -> list[Side]:
    """The camps with their reports, in one order."""
    named = {said["report"] for told in conflict.camps.values() for said in told}
    rows = (
        Report.objects.filter(public_id__in=named)
        .select_related("author", "lens__maker", "rig__body__maker", "body__maker", "filter__maker", "copy")
        .prefetch_related("sweeps__readings", "claims", "images__measurements")
    )
    reports = {report.public_id: report for report in rows}
    return [_side(name, conflict.camps[name], reports) for name in CAMP_ORDER if conflict.camps.get(name)]


def differences(sides: Sequence[Side]) -> list[Difference]:
    """Each condition, with what it was in either camp: what separates them stands out in words."""
    bodies = _bodies(sides)
    tables = {
        "filter_position": lambda said: _position(said["filter_position"]),
        "cut_on": lambda said: f"{said['cut_on_nm']:g} nm" if said["cut_on_nm"] else "not stated",
        "focal": lambda said: f"{said['focal_mm']:g} mm" if said["focal_mm"] else "not stated",
        "body": lambda said: bodies.get(said["body"], said["body"] or "not stated"),
        "copy": lambda said: f"copy {said['copy']}" if said["copy"] else "not stated",
        "method": lambda said: METHODS_TOLD.get(said["method"], said["method"]),
    }
    rows = []
    for factor, told in tables.items():
        counts = [Counter(told(said) for said in side.told) for side in sides]
        rows.append(Difference(factor, FACTORS[factor], tuple(map(_counted, counts)), _compared(counts)))
    return rows


def explanations_of(causes: Sequence[Mapping]) -> list[Explanation]:
    """Candidates as a standing stores them, the likeliest first."""
    ranked = [Cause(**cause) for cause in causes]
    bodies = bodies_named(ranked)
    return [
        Explanation(
            factor=cause.factor,
            words=FACTORS[cause.factor],
            strength=strength_of(cause.odds),
            odds=odds_in_words(cause.odds),
            posterior=cause.posterior,
            effect_stops=cause.effect_stops,
            groups=(cause.group_a, cause.group_b),
            sides=(
                side_name(cause.factor, cause.group_a, bodies),
                side_name(cause.factor, cause.group_b, bodies),
            ),
        )
        for cause in ranked
    ]


def first_explanation(causes: Sequence[Mapping]) -> str:
    """The condition that explains a split best, in words; empty where the evidence speaks for none."""
    likeliest = max(causes, key=lambda cause: cause["odds"], default=None)
    return FACTORS[likeliest["factor"]] if likeliest and likeliest["odds"] >= SOME_EVIDENCE else ""


def strength_of(odds: float) -> str:
    return next(words for least, words in STRENGTHS if odds >= least)


def odds_in_words(odds: float) -> str:
    """23.4 → "23 to 1", 0.2 → "1 to 5 against"."""
    if odds >= 1000:
        return "more than 1000 to 1"
    if odds >= 1:
        return f"{odds:.0f} to 1" if odds >= 10 else f"{odds:.1f} to 1".replace(".0 ", " ")
    return f"1 to {1 / odds:.0f} against" if odds > 0.001 else "more than 1000 to 1 against"


def curves_of(conflict: Conflict, sides: Sequence[Side]) -> list[Curve]:
    """The sweeps of both camps, graded ones at the middle of what their grade stands for."""
    curves = []
    for place, side in enumerate(sides):
        wanted = {said["entry"] for said in side.told}
        for report in side.reports:
            for sweep in report.sweeps.all():
                points = tuple(_point(reading) for reading in sweep.readings.all())
                if points and f"{report.public_id}@{sweep.focal_length_mm:g}" in wanted:
                    ordered = tuple(sorted(points, key=lambda point: exact_av(point[0])))
                    curves.append(Curve(place, report.public_id, ordered))
    return curves


def frames_at_equal_stops(sides: Sequence[Side]) -> list[tuple[float, list[list[FrameShown]]]]:
    """(f-number, frames of each camp) at stops where at least two camps have measured frames, widest first."""
    by_stop: dict[float, list[list[FrameShown]]] = {}
    for place, side in enumerate(sides):
        for report in side.reports:
            for image in frames_of(report):
                if image.picture and image.f_number and image.purpose == ImagePurpose.TARGET:
                    cell = by_stop.setdefault(image.f_number, [[] for _ in sides])
                    if len(cell[place]) < FRAMES_A_CAMP:
                        cell[place].append(FrameShown(image, overlay_of(image)))
    shared = sorted(stop for stop, camps in by_stop.items() if all(camps))
    step = max(1, -(-len(shared) // STOPS_SHOWN))
    return [(stop, by_stop[stop]) for stop in shared[::-1][::step][::-1]]


def where_in_words(conflict: Conflict) -> str:
    """The cut-on group and focal zone that a conflict is about."""
    row = conflict.standing
    return f"{band_label(row.cut_on_group)}, {row.zone_label}"


def _side(name: str, told: Sequence[Mapping], reports: Mapping[str, Report]) -> Side:
    ordered = tuple(sorted(told, key=lambda said: (said["limit_av"], said["entry"])))
    names = dict.fromkeys(said["report"] for said in ordered)
    return Side(name, CAMP_NAMES[name], ordered, tuple(reports[one] for one in names if one in reports))


def _point(reading) -> tuple[float, float, bool]:
    if reading.excess_ev is not None:
        return reading.f_number, reading.excess_ev, False
    low, high = GRADE_EV[reading.grade]
    return reading.f_number, (low + high) / 2, True


def _bodies(sides: Sequence[Side]) -> dict[str, str]:
    slugs = {said["body"] for side in sides for said in side.told if said["body"]}
    return {body.slug: str(body) for body in Body.objects.filter(slug__in=slugs).select_related("maker")}


def _position(position: str | None) -> str:
    return FilterPosition(position).label if position else "not stated"


def _counted(counts: Counter) -> str:
    if len(counts) > MOST_VALUES and max(counts.values()) == 1:
        return f"{len(counts)} different ones"
    return ", ".join(
        f"{value} ({count})" for value, count in sorted(counts.items(), key=lambda one: (-one[1], one[0]))
    )


def _compared(counts: Sequence[Counter]) -> str:
    """Whether a condition tells the camps apart, over what is stated. Values that no two tests share can't."""
    stated = [{value for value in camp if value != "not stated"} for camp in counts]
    if not all(stated):
        return "not stated on both sides"
    if not set.intersection(*stated):
        shared = any(count > 1 for camp in counts for value, count in camp.items() if value != "not stated")
        return "differs throughout" if shared else "each its own"
    return "the same" if len(set.union(*stated)) == 1 else "overlaps"
