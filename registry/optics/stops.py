"""F-numbers as lenses mark them, and their exact aperture values.

Aperture value Av = 2 log2 N (APEX). Full stops are N = 2^(k/2), marked by the rounded series of ISO 517.
Cameras mark half and third stops with two figures; two makers may round the same third stop differently
(f/3.5 and f/3.6), so marks are compared by their exact Av.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from registry.errors import InvalidInput, Problem

LARGEST_F_NUMBER = 64.0
SMALLEST_F_NUMBER = 0.7
USUAL_NARROWEST = 22.0
"""Where most full-frame lenses end (common practice, no source)."""

# The marks that lenses and cameras show, from one stop wider than f/1 on: full stops (ISO 517), half stops, the
# two thirds. A bar parts two ways of rounding one stop.
_FULL = "0.7 1 1.4 2 2.8 4 5.6 8 11 16 22 32 45 64".split()
_HALF = "0.8|0.85 1.2 1.7 2.4 3.3|3.4 4.8 6.7 9.5 13|13.5 19 27 38 54".split()
_THIRD_UP = "0.8 1.1 1.6 2.2 3.2 4.5 6.3 9|9.0 13 18 25 36 51".split()
_THIRD_DOWN = "0.9 1.2|1.3 1.8 2.5 3.5|3.6 5|5.0 7.1|7.2 10 14 20 29 40 57".split()


@dataclass(frozen=True)
class Stop:
    """One marked stop: its usual figure, and its exact aperture value as a fraction of stops from f/1."""

    mark: str
    av: Fraction

    @property
    def f_number(self) -> float:
        """The exact f-number that the mark stands for."""
        return 2 ** (float(self.av) / 2)


def _build_marks() -> dict[float, list[Stop]]:
    marks: dict[float, list[Stop]] = {}
    for series, offset in (
        (_FULL, Fraction(0)),
        (_THIRD_UP, Fraction(1, 3)),
        (_THIRD_DOWN, Fraction(2, 3)),
        (_HALF, Fraction(1, 2)),
    ):
        for index, figures in enumerate(series):
            first, *others = figures.split("|")
            stop = Stop(first, Fraction(index - 1) + offset)
            for figure in (first, *others):
                marks.setdefault(float(figure), []).append(stop)
    return marks


_MARKS = _build_marks()
FULL_STOPS: tuple[Stop, ...] = tuple(Stop(mark, Fraction(index - 1)) for index, mark in enumerate(_FULL))

_SCALES: dict[int, list[Stop]] = {
    parts: sorted(
        {stop for stops in _MARKS.values() for stop in stops if (stop.av * parts).denominator == 1},
        key=lambda stop: stop.av,
    )
    for parts in (1, 2, 3)
}


def av_of(f_number: float) -> float:
    """Aperture value 2 log2 N of an exact f-number."""
    return 2 * math.log2(f_number)


def f_number_of(av: float) -> float:
    """Exact f-number of an aperture value: N = 2^(Av/2)."""
    return 2 ** (av / 2)


def check_f_number(value: float, field: str = "f_number") -> float:
    """Return value as a float.

    Raises InvalidInput when it is no finite number within f/0.7 to f/64.
    """
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = math.nan
    if not SMALLEST_F_NUMBER <= number <= LARGEST_F_NUMBER:
        raise InvalidInput(
            Problem(
                code="f-number-out-of-range",
                field=field,
                value=value,
                says=f"“{value}” is not an f-number between f/0.7 and f/64.",
                remedy="Write the number on the aperture ring or the camera's display, such as 2.8 or 11.",
            )
        )
    return number


@lru_cache(maxsize=1024)
def marked_stop(value: float) -> Stop | None:
    """The marked stop that a figure stands for, or None if no lens scale shows that figure.

    Where a figure is both a half- and a third-stop mark (1.2, 13), the stop that it rounds more closely is meant.
    """
    stops = _MARKS.get(round(float(value), 2), ())
    return min(stops, key=lambda stop: abs(float(stop.av) - av_of(value)), default=None)


@lru_cache(maxsize=1024)
def exact_av(value: float) -> float:
    """Exact Av of an f-number as marked: a mark's exact Av, and 2 log2 N for any other value."""
    stop = marked_stop(value)
    return float(stop.av) if stop else av_of(value)


def same_stop(first: float, second: float) -> bool:
    """Whether two figures mark the same stop: f/3.5 and f/3.6 do."""
    return math.isclose(exact_av(first), exact_av(second), abs_tol=1e-9)


def nearest_marks(value: float, count: int = 2) -> list[Stop]:
    """The marked stops nearest to an f-number by Av, nearest first, each stop once."""
    stops = {stop for group in _MARKS.values() for stop in group}
    av = av_of(value)
    return sorted(stops, key=lambda stop: (abs(float(stop.av) - av), stop.av))[:count]


def typed_f_number(value: float, own_values: tuple[float, ...] = (), field: str = "f_number") -> float:
    """Take an f-number that a person typed.

    own_values: the lens's own widest (and narrowest) values at this focal length, which need be no marks
    (f/0.95, f/1.9, a zoom's f/4.8).
    Raises InvalidInput naming the nearest marked stops when the value is neither a mark nor the lens's own.
    """
    number = check_f_number(value, field)
    if marked_stop(number) or any(math.isclose(number, own, abs_tol=5e-3) for own in own_values):
        return number
    near = sorted(nearest_marks(number), key=lambda stop: stop.av)
    named = " or ".join(f"f/{stop.mark}" for stop in near)
    raise InvalidInput(
        Problem(
            code="f-number-not-marked",
            field=field,
            value=value,
            says=f"f/{number:g} is neither a marked stop nor this lens's own widest value.",
            remedy=f"Did you mean {named}?",
        )
    )


def full_stops_between(widest: float, narrowest: float) -> list[float]:
    """A lens's stops as a shot list or ladder shows them: the widest as given, then each full stop beyond it.

    widest, narrowest: f-numbers as marked. Returns f-numbers as marked, widest first, ending with narrowest.
    """
    return stops_between(widest, narrowest)


def stops_between(widest: float, narrowest: float, parts: int = 1) -> list[float]:
    """The widest f-number as given, each stop of a scale beyond it, and the narrowest as given.

    widest, narrowest: f-numbers as marked. parts: 1 for full stops, 2 for half, 3 for third stops.
    """
    low, high, apart = exact_av(widest), exact_av(narrowest), 0.25 / parts
    inner = [float(stop.mark) for stop in _SCALES[parts] if low + apart < float(stop.av) < high - apart]
    return [widest, *inner, *([narrowest] if high > low else [])]


def as_marked(f_number: float) -> float:
    """The marked stop nearest to any f-number, within f/0.7 to f/64: f/3.92 is f/4."""
    within = min(max(f_number, SMALLEST_F_NUMBER), LARGEST_F_NUMBER)
    return float(nearest_marks(within, 1)[0].mark)


def usual_narrowest(widest: float) -> float:
    """The narrowest f-number to assume where a lens's is not known: f/22, and two stops beyond its widest at least."""
    return max(USUAL_NARROWEST, f_number_of(av_of(widest) + 2))


def mark_of(f_number: float) -> str:
    """How the trade writes an f-number: f/8, f/3.5, f/0.95."""
    return f"f/{f_number:g}"
