"""The sweeps of a conflict's camps in one plot: numbers in, SVG coordinates out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from registry.optics.stops import exact_av
from registry.pages.plots import PLOT, Axis, Frame, Tick, even_ticks
from registry.standings.queries.conflicts import Curve

LEAST_GAP = 24


@dataclass(frozen=True)
class Mark:
    x: float
    y: float
    graded: bool


@dataclass(frozen=True)
class Line:
    """camp: its place, which chooses dashes and the shape of its marks, so that colour is not needed."""

    camp: int
    path: str
    marks: tuple[Mark, ...]


@dataclass(frozen=True)
class CampsPlot:
    frame: Frame
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    visible_y: float
    zero_y: float
    lines: tuple[Line, ...]


def camps_plot(curves: Sequence[Curve], *, visible_ev: float) -> CampsPlot | None:
    """Excess (EV) against aperture, each report's sweep a line; None where there is none to draw."""
    points = [point for curve in curves for point in curve.points]
    if not points:
        return None
    y = Axis(
        min(-0.05, *(ev for _, ev, _ in points)),
        max(2.2 * visible_ev, *(ev for _, ev, _ in points)) * 1.06,
        PLOT.bottom,
        PLOT.top,
    )
    avs = [exact_av(f_number) for f_number, _, _ in points]
    x = Axis(min(avs) - 0.5, max(avs) + 0.5, PLOT.left, PLOT.right)
    marks = {x(exact_av(f_number)): f"{f_number:g}" for f_number, _, _ in points}
    return CampsPlot(
        PLOT,
        _spaced([Tick(at, marks[at]) for at in sorted(marks)]),
        tuple(Tick(y(value), f"{value:.2f}".replace("-", "−")) for value in even_ticks(y.low, y.high)),
        y(visible_ev),
        y(0),
        tuple(_line(curve, x, y) for curve in curves),
    )


def _line(curve: Curve, x: Axis, y: Axis) -> Line:
    marks = tuple(Mark(x(exact_av(f_number)), y(ev), graded) for f_number, ev, graded in curve.points)
    return Line(curve.camp, " ".join(f"{mark.x},{mark.y}" for mark in marks), marks)


def _spaced(ticks: Sequence[Tick]) -> tuple[Tick, ...]:
    kept: list[Tick] = []
    for tick in ticks:
        if not kept or tick.at - kept[-1].at >= LEAST_GAP:
            kept.append(tick)
    return tuple(kept)
