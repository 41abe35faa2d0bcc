"""One picture per sweep, as SVG: excess against aperture with its 95 % intervals, above the frames themselves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from xml.sax.saxutils import escape

from registry.consensus.constants import VISIBLE_EV
from registry.folder.measure import FrameResult
from registry.folder.overlay import ACCENT, FAINT, INK, PAPER, grey_picture, patch_circle
from registry.optics.stops import mark_of

PLOT_HEIGHT, MARGIN, LEFT = 220, 16, 64
FRAME_WIDTH, GAP = 150, 10
LEAST_COLUMNS = 4  # so that the words have room


def sweep_svg(name: str, results: Sequence[FrameResult]) -> str:
    """The picture of one sweep. name: what it is called; results: its frames, of which those that were measured have
    points. Raises ValueError when none of them could be read."""
    frames = sorted(
        (result for result in results if result.frame.image is not None and result.measurement is not None),
        key=lambda result: (result.frame.exif.f_number or math.inf, result.frame.file.key),
    )
    if not frames:
        raise ValueError(f"No frame of “{name}” could be read, so there is nothing to draw.")
    columns = max(LEAST_COLUMNS, len(frames))
    width = LEFT + columns * (FRAME_WIDTH + GAP) + MARGIN
    heights = [_height_of(result) for result in frames]
    top = MARGIN + 30 + PLOT_HEIGHT + 34
    height = top + max(heights) + 44
    places = [LEFT + column * (FRAME_WIDTH + GAP) for column in range(len(frames))]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img"'
        f' font-family="sans-serif" font-size="13" fill="{INK}">',
        f"<title>{escape(name)}: excess against aperture</title>",
        f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
        _text(LEFT, MARGIN + 12, f"{name}: excess in EV at each stop, with its 95 % interval", 15),
        _plot(frames, places, MARGIN + 30, width - MARGIN),
    ]
    for result, x, tall in zip(frames, places, heights, strict=True):
        parts.append(_frame(result, x, top, tall))
    return "\n".join([*parts, "</svg>"]) + "\n"


def _height_of(result: FrameResult) -> int:
    return round(FRAME_WIDTH * result.frame.image.height / result.frame.image.width)


def _plot(frames: Sequence[FrameResult], places: Sequence[float], top: float, right: float) -> str:
    """Points over their frames' middles, joined in order of the stops; a dashed line where a patch gets visible."""
    told = [result.measurement for result in frames]
    high = max([2 * VISIBLE_EV, *(found.ev_high for found in told if found.ev_high is not None)]) * 1.08
    bottom = top + PLOT_HEIGHT

    def y(ev: float) -> float:
        return bottom - min(max(ev, 0.0), high) / high * PLOT_HEIGHT

    dashed = 'stroke-dasharray="5 4"'
    parts = [
        f'<path d="M{LEFT - 8} {top}V{bottom}H{right}" fill="none" stroke="{INK}"/>',
        f'<path d="M{LEFT - 8} {y(VISIBLE_EV):.1f}H{right}" fill="none" stroke="{FAINT}" {dashed}/>',
        _text(right, y(VISIBLE_EV) - 5, f"visible from {VISIBLE_EV:g} EV", 11, "end"),
        *(_text(LEFT - 14, y(tick) + 4, f"{tick:g}", 11, "end") for tick in _ticks(high)),
    ]
    points = []
    for found, place in zip(told, places, strict=True):
        if found.ev is None:
            continue
        x = place + FRAME_WIDTH / 2
        points.append(f"{x:.1f},{y(found.ev):.1f}")
        low, up = y(found.ev_low), y(found.ev_high)
        bar = f"M{x:.1f} {low:.1f}V{up:.1f}M{x - 5:.1f} {low:.1f}h10M{x - 5:.1f} {up:.1f}h10"
        parts.append(f'<path d="{bar}" stroke="{ACCENT}"/>')
        parts.append(f'<circle cx="{x:.1f}" cy="{y(found.ev):.1f}" r="4" fill="{ACCENT}"/>')
    parts.append(f'<polyline points="{" ".join(points)}" fill="none" stroke="{ACCENT}" stroke-opacity=".5"/>')
    return "".join(parts)


def _frame(result: FrameResult, x: float, top: float, tall: int) -> str:
    """One frame with its patch, its stop above and its number or refusal beneath."""
    found, stop = result.measurement, result.frame.exif.f_number
    said = "could not be judged" if found.ev is None else f"{found.ev:.3f} EV"
    middle = x + FRAME_WIDTH / 2
    return (
        _text(middle, top - 8, mark_of(stop) if stop else "aperture not known", 13, "middle")
        + f'<g transform="translate({x} {top})">{grey_picture(result.frame.image, FRAME_WIDTH, tall)}'
        + f"{patch_circle(found, FRAME_WIDTH, tall)}</g>"
        + _text(middle, top + tall + 18, said, 12, "middle")
        + _text(middle, top + tall + 34, result.frame.file.path.name[-24:], 10, "middle")
    )


def _text(x: float, y: float, words: str, size: int, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}">{escape(words)}</text>'


def _ticks(high: float) -> list[float]:
    step = next(step for step in (0.05, 0.1, 0.2, 0.5, 1, 2, 5) if high / step <= 6)
    return [round(number * step, 3) for number in range(math.floor(high / step) + 1)]
