"""Geometry of plots with axes, and of the patch drawn over a frame: numbers in, SVG coordinates out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from registry.optics.stops import exact_av, mark_of


@dataclass(frozen=True)
class Axis:
    """A linear scale from values to SVG units."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 2)


def even_ticks(low: float, high: float, most: int = 5) -> list[float]:
    """Round values between low and high, at most `most` + 1 of them, 1, 2 or 5 times a power of ten apart."""
    raw = (high - low) / most
    power = 10 ** math.floor(math.log10(raw))
    width = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw - 1e-12)
    first = math.ceil(low / width - 1e-9)
    last = math.floor(high / width + 1e-9)
    return [round(index * width, 10) for index in range(first, last + 1)]


@dataclass(frozen=True)
class Tick:
    at: float
    label: str


@dataclass(frozen=True)
class Frame:
    """The plotting area of a figure with axes."""

    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float


PLOT = Frame(width=344, height=210, left=42, right=334, top=22, bottom=172)


@dataclass(frozen=True)
class Point:
    x: float
    y: float
    low_y: float | None
    high_y: float | None
    label: str


@dataclass(frozen=True)
class Plot:
    """A figure with two axes: points with intervals, or a line in a band."""

    frame: Frame
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    visible_y: float
    zero_y: float
    points: tuple[Point, ...] = ()
    line: str = ""
    band: str = ""


def _y_axis(lows: Sequence[float], highs: Sequence[float], visible_ev: float) -> Axis:
    bottom = min(-0.05, min(lows, default=0.0))
    top = max(2.2 * visible_ev, max(highs, default=0.0)) * 1.06
    return Axis(bottom, top, PLOT.bottom, PLOT.top)


def _y_ticks(axis: Axis) -> tuple[Tick, ...]:
    return tuple(
        Tick(axis(value), f"{value:.2f}".replace("-", "−")) for value in even_ticks(axis.low, axis.high)
    )


def _spaced(ticks: Sequence[Tick], least: float) -> tuple[Tick, ...]:
    """Ticks whose labels do not run into each other, the first kept."""
    kept: list[Tick] = []
    for tick in ticks:
        if not kept or tick.at - kept[-1].at >= least:
            kept.append(tick)
    return tuple(kept)


def sweep_plot(readings: Sequence[tuple[float, float, float]], *, visible_ev: float) -> Plot:
    """Excess against aperture with 95 % intervals.

    readings: (f-number as marked, excess in EV, standard error in EV), in any order.
    """
    rows = sorted(readings, key=lambda row: exact_av(row[0]))
    y = _y_axis([ev - 1.96 * se for _, ev, se in rows], [ev + 1.96 * se for _, ev, se in rows], visible_ev)
    avs = [exact_av(f_number) for f_number, _, _ in rows]
    x = Axis(min(avs) - 0.5, max(avs) + 0.5, PLOT.left, PLOT.right)
    points = tuple(
        Point(x(exact_av(n)), y(ev), y(ev - 1.96 * se), y(ev + 1.96 * se), mark_of(n)) for n, ev, se in rows
    )
    marks = dict.fromkeys(f_number for f_number, _, _ in rows)
    ticks = _spaced([Tick(x(exact_av(n)), f"{n:g}") for n in marks], least=24)
    return Plot(PLOT, ticks, _y_ticks(y), y(visible_ev), y(0), points=points)


def profile_plot(
    radius: Sequence[float],
    excess: Sequence[float],
    low: Sequence[float],
    high: Sequence[float],
    *,
    visible_ev: float,
) -> Plot:
    """Excess against distance from the patch's centre (half-diagonals), with its 95 % band."""
    y = _y_axis(low, high, visible_ev)
    x = Axis(0.0, max(radius), PLOT.left, PLOT.right)
    xs = [x(value) for value in radius]
    upper = [f"{at},{y(value)}" for at, value in zip(xs, high, strict=True)]
    lower = [f"{at},{y(value)}" for at, value in zip(xs, low, strict=True)]
    return Plot(
        PLOT,
        tuple(Tick(x(value), f"{value:g}") for value in even_ticks(0, max(radius))),
        _y_ticks(y),
        y(visible_ev),
        y(0),
        line=" ".join(f"{at},{y(value)}" for at, value in zip(xs, excess, strict=True)),
        band=" ".join([*upper, *reversed(lower)]),
    )


@dataclass(frozen=True)
class Overlay:
    """The measured patch on a picture of width × height pixels."""

    width: int
    height: int
    x: float
    y: float
    radius: float
    arm: float
    stroke: float

    @property
    def under(self) -> float:
        """Width of the dark line under the light one, which keeps the circle visible on any picture."""
        return round(2.4 * self.stroke, 1)

    @property
    def left(self) -> float:
        return round(self.x - self.arm, 1)

    @property
    def right(self) -> float:
        return round(self.x + self.arm, 1)

    @property
    def above(self) -> float:
        return round(self.y - self.arm, 1)

    @property
    def below(self) -> float:
        return round(self.y + self.arm, 1)


def overlay(width: int, height: int, *, centre: tuple[float, float], radius: float) -> Overlay:
    """Place the patch's circle. centre and radius in half-diagonals from the picture's centre, x right, y down."""
    half_diagonal = math.hypot(width, height) / 2
    return Overlay(
        width=width,
        height=height,
        x=round(width / 2 + centre[0] * half_diagonal, 1),
        y=round(height / 2 + centre[1] * half_diagonal, 1),
        radius=round(radius * half_diagonal, 1),
        arm=round(0.02 * half_diagonal, 1),
        stroke=round(half_diagonal / 180, 1),
    )
