"""What the consensus is told: a lens, and reports about it, checked before they reach the grid."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from registry.consensus.constants import SAME_STOP_AV
from registry.errors import InvalidInput, Problem
from registry.optics.stops import LARGEST_F_NUMBER, SMALLEST_F_NUMBER, exact_av, mark_of

SAYS = ("clean_to", "hot_from", "clean_all", "hot_all", "mixed", "nothing_found")
SAYS_WITH_F_NUMBER = ("clean_to", "hot_from")
FILTER_POSITIONS = ("front", "rear", "clip-in", "sensor")
METHODS = ("measured", "visual", "claim")
WAVELENGTHS_NM = (400.0, 1100.0)
FOCAL_MM = (1.0, 3000.0)
GRADES = (0, 1, 2, 3, 4)


@dataclass(frozen=True, slots=True)
class Reading:
    """One frame's result.

    f_number: as marked on the lens. ev, ev_se: measured excess and its standard error, in EV.
    grade: eye grade 0–4, used where no excess was measured.
    """

    f_number: float
    ev: float | None = None
    ev_se: float | None = None
    grade: int | None = None


@dataclass(frozen=True, slots=True)
class Claim:
    """A coarse statement without readings. f_number: as marked, for "clean_to" and "hot_from"."""

    says: str
    f_number: float | None = None


@dataclass(frozen=True, slots=True)
class Report:
    """One sweep's worth of evidence.

    A person's report with three focal lengths becomes three of these that share tester and copy. The
    tester of a relayed result is the person cited, never the one who relays it. Any condition may be None:
    not stated. cut_on_group names rigs without a single cut-on ("full-spectrum", "band-pass", "dual-band").
    """

    id: str
    tester: str
    copy: str | None = None
    source: str | None = None
    cut_on_nm: float | None = None
    focal_mm: float | None = None
    filter_position: str | None = None
    body: str | None = None
    method: str = "measured"
    cut_on_group: str | None = None
    readings: tuple[Reading, ...] = ()
    claim: Claim | None = None


@dataclass(frozen=True, slots=True)
class Lens:
    """What the consensus needs to know of a lens.

    widest, narrowest: f-numbers as marked, the widest at the wide end of a zoom (widest_tele at the long
    end, if it differs). focal_min, focal_max: mm, equal for a prime; None where the catalogue lacks them.
    """

    widest: float
    narrowest: float
    focal_min: float | None = None
    focal_max: float | None = None
    widest_tele: float | None = None


def check_lens(lens: Lens, field: str = "lens") -> None:
    """Raise InvalidInput, with every problem at once, unless the lens can be reasoned about."""
    _raise(list(_lens_problems(lens, field)))


def check_report(report: Report, lens: Lens, field: str = "") -> None:
    """Raise InvalidInput, with every problem at once, unless the report can enter the grid.

    Refused: NaN and infinities, negative uncertainties, f-numbers outside f/0.7–f/64, wavelengths outside
    400–1100 nm, grades other than 0–4, readings wider than the lens opens, unknown words.
    field: prefix of the dotted paths that the problems name.
    """
    _raise(list(report_problems(report, lens, f"{field}." if field else "")))


def check_question(question, field: str = "question") -> None:
    """Raise InvalidInput, with every problem at once, unless the conditions of a question make sense."""
    problems = list(condition_problems(question, f"{field}."))
    if question.method is not None and question.method not in METHODS:
        problems.append(_unknown_word(f"{field}.method", question.method, METHODS))
    _raise(problems)


def check_stops(stops: list, field: str = "stops") -> None:
    """Raise InvalidInput, with every problem at once, unless all are f-numbers."""
    bounds = (SMALLEST_F_NUMBER, LARGEST_F_NUMBER)
    _raise([p for i, stop in enumerate(stops) for p in _outside(f"{field}[{i}]", stop, bounds, "f-number")])


def _raise(problems: list[Problem]) -> None:
    if problems:
        raise InvalidInput(problems)


def _lens_problems(lens: Lens, field: str) -> Iterator[Problem]:
    for name in ("widest", "narrowest", "widest_tele"):
        value = getattr(lens, name)
        if name != "widest_tele" or value is not None:
            yield from _outside(f"{field}.{name}", value, (SMALLEST_F_NUMBER, LARGEST_F_NUMBER), "f-number")
    for name in ("focal_min", "focal_max"):
        value = getattr(lens, name)
        if value is not None:
            yield from _outside(f"{field}.{name}", value, FOCAL_MM, "focal length")
    if _finite(lens.widest) and _finite(lens.narrowest) and lens.narrowest < lens.widest:
        yield Problem(
            code="stops-reversed",
            field=f"{field}.narrowest",
            value=lens.narrowest,
            says=f"The narrowest stop {mark_of(lens.narrowest)} is wider than the widest "
            f"{mark_of(lens.widest)}.",
            remedy="Exchange the two f-numbers.",
        )
    if _finite(lens.focal_min) and _finite(lens.focal_max) and lens.focal_max < lens.focal_min:
        yield Problem(
            code="focal-lengths-reversed",
            field=f"{field}.focal_max",
            value=lens.focal_max,
            says=f"The longest focal length {lens.focal_max:g} mm is below the shortest {lens.focal_min:g} mm.",
            remedy="Exchange the two focal lengths.",
        )


def report_problems(report: Report, lens: Lens, prefix: str = "") -> Iterator[Problem]:
    """Every problem of one report, in the order of its fields."""
    if not isinstance(report.tester, str) or not report.tester:
        yield Problem(
            code="tester-missing",
            field=f"{prefix}tester",
            value=report.tester,
            says="The report names no tester.",
            remedy="Name whoever made the test: for a relayed result the person or source cited.",
        )
    yield from condition_problems(report, prefix)
    if report.method not in METHODS:
        yield _unknown_word(f"{prefix}method", report.method, METHODS)
    for index, reading in enumerate(report.readings):
        yield from _reading_problems(reading, report, lens, f"{prefix}readings[{index}].")
    if report.claim is not None:
        yield from _claim_problems(report.claim, lens, f"{prefix}claim.")
    if not report.readings and report.claim is None:
        yield Problem(
            code="report-empty",
            field=f"{prefix}readings",
            value=None,
            says="The report holds neither readings nor a claim.",
            remedy="Give at least one reading, or say what the source claims.",
        )


def condition_problems(conditions, prefix: str = "") -> Iterator[Problem]:
    """Problems of cut-on, focal length and filter position, of a report or a question."""
    if conditions.cut_on_nm is not None:
        yield from _outside(f"{prefix}cut_on_nm", conditions.cut_on_nm, WAVELENGTHS_NM, "wavelength")
    if conditions.focal_mm is not None:
        yield from _outside(f"{prefix}focal_mm", conditions.focal_mm, FOCAL_MM, "focal length")
    yield from _name_problems(conditions, prefix)
    position = conditions.filter_position
    if position is not None and position not in FILTER_POSITIONS:
        yield _unknown_word(f"{prefix}filter_position", position, FILTER_POSITIONS)


def _name_problems(conditions, prefix: str) -> Iterator[Problem]:
    for name in ("copy", "source", "body", "cut_on_group"):
        value = getattr(conditions, name, None)
        if value is not None and not (isinstance(value, str) and value):
            yield Problem(
                code="name-expected",
                field=f"{prefix}{name}",
                value=value,
                says=f"“{value}” is not a name.",
                remedy="Give a text, or leave the field out if it isn't known.",
            )


def _reading_problems(reading: Reading, report: Report, lens: Lens, prefix: str) -> Iterator[Problem]:
    yield from _f_number_problems(reading.f_number, lens, f"{prefix}f_number", report.focal_mm)
    if reading.ev is None and reading.grade is None:
        yield Problem(
            code="reading-empty",
            field=f"{prefix}ev",
            value=None,
            says="The reading holds neither a measured excess nor a grade.",
            remedy="Give the excess in EV, or an eye grade from 0 to 4.",
        )
    if reading.ev is not None:
        yield from _outside(f"{prefix}ev", reading.ev, (-3.0, 10.0), "excess")
    if reading.ev_se is not None:
        yield from _outside(f"{prefix}ev_se", reading.ev_se, (0.0, 10.0), "uncertainty")
    if reading.grade is not None and (isinstance(reading.grade, bool) or reading.grade not in GRADES):
        yield Problem(
            code="grade-unknown",
            field=f"{prefix}grade",
            value=reading.grade,
            says=f"“{reading.grade}” is no eye grade.",
            remedy="Grade from 0 (none) to 4 (dominating), in whole numbers.",
        )


def _claim_problems(claim: Claim, lens: Lens, prefix: str) -> Iterator[Problem]:
    if claim.says not in SAYS:
        yield _unknown_word(f"{prefix}says", claim.says, SAYS)
    elif claim.says in SAYS_WITH_F_NUMBER:
        if claim.f_number is None:
            yield Problem(
                code="f-number-missing",
                field=f"{prefix}f_number",
                value=None,
                says=f"A claim that says {claim.says} needs the f-number it speaks of.",
                remedy="Give the f-number as marked, such as 8.",
            )
        else:
            yield from _f_number_problems(claim.f_number, lens, f"{prefix}f_number", None)


def _f_number_problems(value: object, lens: Lens, field: str, focal_mm: float | None) -> Iterator[Problem]:
    problems = list(_outside(field, value, (SMALLEST_F_NUMBER, LARGEST_F_NUMBER), "f-number"))
    yield from problems
    if not problems and exact_av(value) < widest_av_at(lens, focal_mm) - SAME_STOP_AV:
        widest = lens.widest
        yield Problem(
            code="wider-than-lens",
            field=field,
            value=value,
            says=f"{mark_of(value)} is wider than this lens opens ({mark_of(widest)}).",
            remedy="Check the f-number, or that the report belongs to this lens.",
        )


def widest_av_at(lens: Lens, focal_mm: float | None) -> float:
    """Av of the widest aperture; at a stated focal length of a zoom no wider than its linear course."""
    wide = exact_av(lens.widest)
    if lens.widest_tele is None or focal_mm is None or not lens.focal_min or not lens.focal_max:
        return wide
    if lens.focal_max <= lens.focal_min or not _finite(focal_mm):
        return wide
    # Makers step the widest aperture early or late along the zoom; only at the long end is it sure.
    return exact_av(lens.widest_tele) if focal_mm >= lens.focal_max else wide


def _outside(field: str, value: object, bounds: tuple[float, float], what: str) -> Iterator[Problem]:
    low, high = bounds
    if not (_finite(value) and low <= value <= high):
        code = f"{what.replace(' ', '-')}-out-of-range"
        yield Problem(
            code=code,
            field=field,
            value=value,
            says=f"“{value}” is not {'an' if what[0] in 'aefu' else 'a'} {what} between {low:g} and {high:g}.",
            remedy=f"Give a plain number from {low:g} to {high:g}.",
        )


def _finite(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _unknown_word(field: str, value: object, words: tuple[str, ...]) -> Problem:
    return Problem(
        code="word-unknown",
        field=field,
        value=value,
        says=f"“{value}” is not one of the words for this field.",
        remedy=f"Use one of: {', '.join(words)}.",
    )
