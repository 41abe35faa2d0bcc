"""What separates a lens's reports, in people's words, and what holds on either side of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from registry.consensus.answers import Question, question_cell
from registry.consensus.causes import Cause
from registry.consensus.cells import BAND_LABELS, UNSTATED, zone_label
from registry.consensus.constants import CAUSE_LIKELY
from registry.consensus.contrasts import OTHER_CUT_ONS, OTHERS
from registry.consensus.evidence import Lens as Optics
from registry.consensus.sentences import verdict_words
from registry.consensus.sides import Side, on_side, sides_of
from registry.gear.models import Body
from registry.optics.stops import exact_av
from registry.reports.models import Basis, FilterPosition
from registry.standings.queries.answers import USUAL_CUT_ON_NM, LensAnswer, ZoneAnswer
from registry.standings.queries.evidence import counting_reports, evidence_by_path, usable_entries
from registry.standings.queries.priors import priors_in_force

CAUSE_NAMED = 0.2  # posterior below which a cause is no more worth naming than its rivals

FACTORS = {
    "cut_on": "the wavelength",
    "filter_position": "where the filter sat",
    "focal": "the focal length",
    "body": "the camera body",
    "copy": "the copy of the lens",
    "method": "how it was judged",
}
_REST = {
    "filter_position": "elsewhere",
    "body": "other bodies",
    "copy": "the other copies",
    "method": "judged otherwise",
}
METHODS_TOLD = {
    "measured": Basis.MEASURED.label,
    "visual": Basis.GRADED.label,
    "claim": "stated without readings",
}
_CONDITIONS = {
    "cut_on": "at {}",
    "filter_position": "with the filter {}",
    "focal": "at {}",
    "body": "on {}",
    "copy": "with {}",
    "method": "{}",
}


@dataclass(frozen=True)
class NamedCause:
    """A candidate explanation worth naming. words: what it is about; sides: what it is at one and the other."""

    factor: str
    words: str
    likely: bool
    sides: tuple[str, str]


@dataclass(frozen=True)
class SideStop:
    """Chance of a clean frame at one tested stop, under one condition."""

    f_number: float
    p_clean: float


@dataclass(frozen=True)
class Condition:
    """What holds under one condition. side: the condition in words, "with the filter in front of the lens".
    stops: widest first."""

    factor: str
    side: str
    words: str
    f_number: float | None
    stops: tuple[SideStop, ...]


def named_causes(causes: Iterable[Mapping]) -> list[NamedCause]:
    """Of causes as a standing stores them, those worth naming, the likeliest first."""
    causes = [Cause(**cause) for cause in causes if cause["posterior"] >= CAUSE_NAMED]
    bodies = bodies_named(causes)
    return [
        NamedCause(
            cause.factor,
            FACTORS[cause.factor],
            cause.likely,
            (
                side_name(cause.factor, cause.group_a, bodies),
                side_name(cause.factor, cause.group_b, bodies),
            ),
        )
        for cause in causes
    ]


def conditions_of(said: LensAnswer) -> list[Condition]:
    """What a lens's answer becomes on either side of what likely splits its reports; empty where nothing does.

    Each side is answered by the consensus at the reader's cut-on, tolerance and the answer's worst tested zone,
    but for what the side itself states. Where a standing of its own already says what holds there, that is quoted.
    """
    cause = _likely_cause(said)
    stops = _tested_stops(said)
    if cause is None or not stops:
        return []
    entries = evidence_by_path(counting_reports(said.lens)).get(said.path, [])
    optics = said.path.optics(reading.f_number for entry in entries for reading in entry.readings)
    usable, _ = usable_entries(entries, optics)
    question = Question(cut_on_nm=said.cut_on_nm or USUAL_CUT_ON_NM, focal_mm=_focal_length(said))
    sides = sides_of(optics, usable, cause, question, stops, priors_in_force(), visible_ev=said.visible_ev)
    bodies = bodies_named([cause])
    return [_condition(side, bodies, _own_cell(said, optics, question, side)) for side in sides]


def side_name(factor: str, group: str, bodies: Mapping[str, str]) -> str:
    """One side of a cause as people call it: "in front of the lens", a body's name, "graded by eye".

    bodies: names by slug.
    """
    if group == OTHERS:
        return _REST[factor]
    if factor == "filter_position":
        return FilterPosition(group).label
    if factor == "body":
        return bodies.get(group, group)
    if factor == "copy":
        return "one of the copies tested"  # a copy's own label is its holder's
    if factor == "method":
        return METHODS_TOLD[group]
    return group if group == OTHER_CUT_ONS else BAND_LABELS.get(group, group)


def side_labels(cause: Cause) -> tuple[str, str]:
    """Both sides of a cause as a standing states them: "with the filter in front of the lens"."""
    bodies = bodies_named([cause])
    first, second = (
        _CONDITIONS[cause.factor].format(side_name(cause.factor, group, bodies))
        for group in (cause.group_a, cause.group_b)
    )
    return first, second


def _likely_cause(said: LensAnswer) -> Cause | None:
    """The cause that is likely for this path; causes are told over all its cells alike."""
    bands = [band for band in (said.here, *said.others) if band.worst]
    stored = bands[0].worst.causes if bands else []
    cause = max((Cause(**one) for one in stored), key=lambda one: one.posterior, default=None)
    if cause is None or cause.posterior < CAUSE_LIKELY:
        return None
    return cause if said.here.tested or cause.factor == "cut_on" else None


def _tested_stops(said: LensAnswer) -> list[float]:
    """The rungs that someone tested, in whichever cell."""
    tested = {
        stop.f_number
        for band in (said.here, *said.others)
        for zone in band.zones
        for stop in zone.stops
        if stop.tested and stop.on_ladder
    }
    return sorted(tested, key=exact_av)


def _focal_length(said: LensAnswer) -> float | None:
    """A focal length in the middle of the zone that the answer's sentence is about."""
    worst = said.worst or next((band.worst for band in said.others if band.worst), None)
    if worst is None or worst.zone == UNSTATED:
        return None
    optics = said.path.optics()
    label = zone_label(worst.zone, optics.focal_min, optics.focal_max).removesuffix(" mm")
    low, _, high = label.partition("–")
    return (float(low) * float(high or low)) ** 0.5


def bodies_named(causes: Iterable[Cause]) -> dict[str, str]:
    slugs = {group for cause in causes if cause.factor == "body" for group in (cause.group_a, cause.group_b)}
    if not slugs - {OTHERS}:
        return {}
    return {body.slug: str(body) for body in Body.objects.filter(slug__in=slugs).select_related("maker")}


def _own_cell(said: LensAnswer, optics: Optics, question: Question, side: Side) -> ZoneAnswer | None:
    """The tested cell that a side falls into, of a factor by which cells are kept apart."""
    if side.factor not in ("cut_on", "focal"):
        return None
    group, zone = question_cell(optics, on_side(question, side.factor, side.group))
    cells = (cell for band in (said.here, *said.others) if band.group == group for cell in band.zones)
    return next((cell for cell in cells if cell.zone == zone and cell.tested), None)


def _condition(side: Side, bodies: Mapping[str, str], cell: ZoneAnswer | None) -> Condition:
    named = _CONDITIONS[side.factor].format(side_name(side.factor, side.group, bodies))
    if cell is not None:
        stops = tuple(
            SideStop(stop.f_number, stop.p_clean) for stop in cell.stops if stop.tested and stop.on_ladder
        )
        return Condition(side.factor, named, cell.words, cell.f_number, stops)
    stops = tuple(SideStop(*one) for one in side.p_clean.items())
    return Condition(side.factor, named, verdict_words(side.verdict), side.verdict.f_number, stops)
