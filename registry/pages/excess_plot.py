"""Measured excess against aperture as a picture with axes, drawn by matplotlib."""

from __future__ import annotations

import io

from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from registry.optics.stops import exact_av
from registry.pages.themes import Theme
from registry.standings.queries.excess import ZoneExcess

INCHES = (5.2, 3.2)
PLAIN_DPI = 100
# Text stays text, and equal data make equal files.
SETTINGS = {
    "svg.fonttype": "none",
    "svg.hashsalt": "excess",
    "font.family": "sans-serif",
    "font.sans-serif": ["Liberation Sans", "DejaVu Sans"],
    "font.size": 9,
}


def excess_picture(
    zone: ZoneExcess,
    *,
    visible_ev: float,
    theme: Theme,
    kind: str = "svg",
    width: int | None = None,
    title: str = "",
    edition: str = "",
) -> bytes:
    """Each sweep's points with 95 % intervals, what they pool to, and the visible threshold.

    kind: "svg" or "png". width: of a PNG in pixels. title, edition: printed above and below where given.
    """
    with rc_context(SETTINGS):
        figure = Figure(figsize=INCHES, facecolor=theme["paper"], layout="constrained")
        axes = figure.add_subplot(facecolor=theme["paper"])
        _draw_sweeps(axes, zone, theme)
        _draw_pooled(axes, zone, theme)
        _draw_scale(axes, zone, visible_ev, theme)
        if title:
            figure.suptitle(title, color=theme["ink"], fontsize=10, x=0.01, ha="left", wrap=True)
        if edition:
            figure.supxlabel(edition, color=theme["faint"], fontsize=6.5, x=0.01, ha="left")
        return _written(figure, kind, width)


def _draw_sweeps(axes, zone: ZoneExcess, theme: Theme) -> None:
    strength = max(0.25, min(0.9, 4 / len(zone.sweeps)))
    for sweep in zone.sweeps:
        avs = [exact_av(point.f_number) for point in sweep.points]
        evs = [point.ev for point in sweep.points]
        axes.errorbar(
            avs, evs, yerr=[1.96 * point.se for point in sweep.points], color=theme["accent"], alpha=strength,
            linewidth=0.8, elinewidth=0.8, marker="o", markersize=3.5,
        )  # fmt: skip


def _draw_pooled(axes, zone: ZoneExcess, theme: Theme) -> None:
    if len(zone.sweeps) > 1 and zone.pooled:
        avs = [exact_av(stop.f_number) for stop in zone.pooled]
        axes.plot(avs, [stop.ev for stop in zone.pooled], color=theme["ink"], linewidth=2.2)


def _draw_scale(axes, zone: ZoneExcess, visible_ev: float, theme: Theme) -> None:
    axes.axhline(0, color=theme["edge"], linewidth=0.8)
    axes.axhline(visible_ev, color=theme["ink"], linewidth=0.9, linestyle=(0, (4, 3)))
    axes.annotate(
        "visible from here", (0, visible_ev), xycoords=("axes fraction", "data"), xytext=(4, 3),
        textcoords="offset points", color=theme["faint"], fontsize=7.5,
    )  # fmt: skip
    marks = {exact_av(f_number): f_number for f_number in zone.f_numbers}
    kept = _spaced(sorted(marks))
    axes.xaxis.set_major_locator(FixedLocator(kept))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(FuncFormatter(lambda av, _: f"{marks[av]:g}" if av in marks else ""))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:.2f}".replace("-", "−")))
    axes.set_xlim(min(marks) - 0.5, max(marks) + 0.5)
    axes.set_ylim(top=max(axes.get_ylim()[1], 2.2 * visible_ev))
    axes.set_xlabel("aperture, f/", color=theme["ink"])
    axes.set_ylabel("excess, EV", color=theme["ink"])
    axes.grid(axis="y", color=theme["line"], linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(colors=theme["faint"], length=3)
    for side, spine in axes.spines.items():
        spine.set_visible(side == "bottom")
        spine.set_color(theme["edge"])


def _spaced(avs: list[float]) -> list[float]:
    """The stops whose labels don't run into each other: full stops where there are many."""
    kept: list[float] = []
    for av in avs:
        if not kept or av - kept[-1] > (0.6 if len(avs) > 12 else 0.3):
            kept.append(av)
    return kept


def _written(figure: Figure, kind: str, width: int | None) -> bytes:
    file = io.BytesIO()
    dpi = (width / INCHES[0]) if width else PLAIN_DPI
    metadata = {"Date": None} if kind == "svg" else {"Software": None}
    figure.savefig(file, format=kind, dpi=dpi, metadata=metadata, facecolor=figure.get_facecolor())
    return file.getvalue()
