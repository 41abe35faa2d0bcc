"""Geometry of the figure that sets a zoom's clean ranges beside those of primes: focal lengths across, stops down."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from registry.bags.covering import Step
from registry.bags.ranges import CleanRange
from registry.optics.stops import FULL_STOPS, exact_av

COLUMN, BAR, ROW = 46.0, 15.0, 18.0
LEFT, TOP, FOOT = 34.0, 8.0, 24.0
LEAST_STOPS = 4


@dataclass(frozen=True)
class Bar:
    """A clean range drawn. A range of no length is a line at its widest stop; side: "zoom" or "primes"."""

    side: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Note:
    """A place where a side states no clean range: "none", or "?" where nobody tested."""

    side: str
    x: float
    y: float
    says: str


@dataclass(frozen=True)
class Tick:
    at: float
    label: str


@dataclass(frozen=True)
class Spans:
    width: float
    height: float
    bars: tuple[Bar, ...]
    notes: tuple[Note, ...]
    columns: tuple[Tick, ...]
    rows: tuple[Tick, ...]

    @property
    def label_y(self) -> float:
        return self.height - 6

    @property
    def left(self) -> float:
        return LEFT


def draw_spans(steps: Sequence[Step]) -> Spans:
    """Two bars a focal length: the zoom's from its widest stop to its clean limit, and beside it the prime's where
    one frames this focal length without cropping."""
    shown = [one for step in steps for _, one in _sides(step)]
    ends = [exact_av(one.widest_f) for one in shown] + [
        exact_av(one.clean_to) for one in shown if one.clean_to
    ]
    first = math.floor(min(ends, default=1.0) + 1e-9)
    last = max(math.ceil(max(ends, default=1.0) - 1e-9), first + LEAST_STOPS)

    def y_of(av: float) -> float:
        return round(TOP + (av - first) * ROW, 2)

    bars, notes = [], []
    for place, step in enumerate(steps):
        for side, one in _sides(step):
            x = round(LEFT + place * COLUMN + (4 if side == "zoom" else 5 + BAR), 2)
            top = y_of(exact_av(one.widest_f))
            if one.clean_to:
                bars.append(Bar(side, x, top, BAR, max(round(y_of(exact_av(one.clean_to)) - top, 2), 2.0)))
            else:
                notes.append(Note(side, round(x + BAR / 2, 2), top + 10, "none" if one.tested else "?"))
    marks = [stop for stop in FULL_STOPS if first <= float(stop.av) <= last]
    return Spans(
        width=LEFT + len(steps) * COLUMN + 4,
        height=y_of(last) + FOOT + 4,
        bars=tuple(bars),
        notes=tuple(notes),
        columns=tuple(
            Tick(round(LEFT + place * COLUMN + COLUMN / 2 - 3, 2), f"{step.focal_mm:g}")
            for place, step in enumerate(steps)
        ),
        rows=tuple(Tick(y_of(float(stop.av)), f"f/{stop.mark}") for stop in marks),
    )


def _sides(step: Step) -> list[tuple[str, CleanRange]]:
    primes = [("primes", step.prime)] if step.prime is not None and step.kept_share == 1 else []
    return [("zoom", step.zoom), *primes]
