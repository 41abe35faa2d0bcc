"""A picture of what was measured: the frame with the patch drawn in, and the profile beside it, as an SVG file."""

from __future__ import annotations

import base64
import io
import math
import textwrap
from dataclasses import dataclass
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
from PIL import Image

from registry.folder.measure import FrameResult
from registry.optics.linear_image import LinearImage
from registry.optics.stops import mark_of
from registry.photometry.measurement import REJECTED, Measurement, Profile

WIDTH, PLOT_WIDTH, MARGIN, TEXT_HEIGHT = 480, 360, 16, 62
INK, PAPER, FAINT, ACCENT = "#222222", "#fbfaf7", "#8a8880", "#8a3b12"
SEEN_SPAN_EV = 1.0  # the picture's contrast is stretched to show at least this range


def write_overlay(result: FrameResult, target: str | Path) -> None:
    """Write the overlay of a measured or rejected frame. Raises ValueError for a frame that could not be read."""
    Path(target).write_text(overlay_svg(result), encoding="utf-8")


def overlay_svg(result: FrameResult) -> str:
    """The frame, its contrast stretched, with circle and centre of the patch, the profile with its 95 % band, and
    the numbers in words. Raises ValueError for a frame that could not be read."""
    image, found = result.frame.image, result.measurement
    if image is None or found is None:
        raise ValueError(f"{result.frame.file.path.name} could not be read, so there is nothing to draw.")
    height = round(WIDTH * image.height / image.width)
    whole = MARGIN * 3 + WIDTH + PLOT_WIDTH, MARGIN * 2 + max(height, 240) + TEXT_HEIGHT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {whole[0]} {whole[1]}" role="img"'
        f' font-family="sans-serif" font-size="13" fill="{INK}">',
        f"<title>{escape(_title(result))}</title>",
        f'<rect width="{whole[0]}" height="{whole[1]}" fill="{PAPER}"/>',
        f'<g transform="translate({MARGIN} {MARGIN})">{grey_picture(image, WIDTH, height)}',
        f"{patch_circle(found, WIDTH, height)}</g>",
    ]
    if found.profile is not None:
        parts.append(
            f'<g transform="translate({MARGIN * 2 + WIDTH} {MARGIN})">{_plot(found.profile, max(height, 240))}</g>'
        )
    lines = [_title(result), *textwrap.wrap(_numbers(result), 120)]
    base = MARGIN + max(height, 240) + 20
    parts += [
        f'<text x="{MARGIN}" y="{base + 18 * index}">{escape(line)}</text>'
        for index, line in enumerate(lines)
    ]
    return "\n".join([*parts, "</svg>"]) + "\n"


def _title(result: FrameResult) -> str:
    exif = result.frame.exif
    stop = f", {mark_of(exif.f_number)}" if exif.f_number else ""
    focal = f", {exif.focal_length_mm:g} mm" if exif.focal_length_mm else ""
    return f"{result.frame.file.path.name}{stop}{focal}"


def _numbers(result: FrameResult) -> str:
    found = result.measurement
    if found.status == REJECTED:
        return result.reason or "This frame could not be judged."
    interval = f"95 % interval {found.ev_low:.3f} to {found.ev_high:.3f} EV"
    radius = f", radius {found.radius:.3f} of the half-diagonal" if found.radius else ""
    uncertain = "" if found.status == "measured" else "; uncertain from this frame alone"
    return f"Excess {found.ev:.3f} EV, {interval}{radius}{uncertain}"


def grey_picture(image: LinearImage, width: float, height: float) -> str:
    """The frame in grey as an SVG image, stretched in log luminance so that a faint patch can be seen."""
    light = np.log2(np.maximum(image.luminance, 1e-6))
    middle = float(np.median(light))
    span = max(SEEN_SPAN_EV, 2.2 * float(np.percentile(np.abs(light - middle), 99)))
    grey = np.clip((light - middle) / span + 0.5, 0, 1)
    buffer = io.BytesIO()
    Image.fromarray(np.rint(grey * 255).astype(np.uint8), "L").save(buffer, "PNG")
    data = base64.b64encode(buffer.getvalue()).decode()
    return f'<image width="{width}" height="{height}" preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'


def patch_circle(found: Measurement, width: float, height: float) -> str:
    """Circle at the patch's radius and a cross at its centre, light under dark so that both show on any grey."""
    if found.centre is None or not found.radius:
        return ""
    unit = math.hypot(width, height) / 2
    x, y, r = width / 2 + found.centre[0] * unit, height / 2 + found.centre[1] * unit, found.radius * unit
    cross = f"M{x - 6:.1f} {y:.1f}h12M{x:.1f} {y - 6:.1f}v12"
    shapes = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}"/><path d="{cross}"/>'
    return (
        f'<g fill="none" stroke="{PAPER}" stroke-width="4">{shapes}</g>'
        f'<g fill="none" stroke="{ACCENT}" stroke-width="1.6">{shapes}</g>'
    )


@dataclass(frozen=True)
class Axes:
    """From half-diagonals and EV to places in the plot, whose axes meet at (left, bottom)."""

    left: float
    bottom: float
    wide: float
    tall: float
    last: float
    low: float
    high: float

    def x(self, radius):
        return self.left + radius / self.last * self.wide

    def y(self, excess):
        return (
            self.bottom
            - (np.clip(excess, self.low, self.high) - self.low) / (self.high - self.low) * self.tall
        )

    def points(self, radius: np.ndarray, excess: np.ndarray) -> str:
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(self.x(radius), self.y(excess), strict=True))


def _plot(profile: Profile, height: float) -> str:
    """Excess against radius with its 95 % band, and the fitted baseline's shape, on common axes."""
    high = max(0.15, float(np.max(profile.high)))
    low = min(-0.05, float(np.min(profile.low)), max(float(np.min(profile.baseline)), -0.5 * high))
    inside = profile.baseline >= low  # falloff soon leaves the range in which a patch shows
    last = float(np.max(profile.radius)) or 1.0
    axes = Axes(40.0, height - 34.0, PLOT_WIDTH - 48.0, height - 42.0, last, low, high)
    radius = profile.radius
    band = f"{axes.points(radius, profile.high)} {axes.points(radius[::-1], profile.low[::-1])}"
    baseline = axes.points(radius[inside], profile.baseline[inside])
    line = '<polyline points="{}" fill="none" stroke="{}" {}/>'
    return "".join(
        [
            f'<polygon points="{band}" fill="{ACCENT}" fill-opacity=".18"/>',
            line.format(baseline, FAINT, 'stroke-dasharray="4 3"'),
            line.format(axes.points(radius, profile.excess), ACCENT, 'stroke-width="1.8"'),
            _scales(axes),
            _small(axes.left, height - 2, "distance from the patch’s centre, half-diagonals"),
            _small(axes.left, height + 14, "excess in EV with its 95 % band; dashed: smooth falloff"),
        ]
    )


def _scales(axes: Axes) -> str:
    corner = f"M{axes.left} 8V{axes.bottom}H{axes.left + axes.wide}"
    parts = [f'<path d="{corner}" fill="none" stroke="{INK}"/>']
    for value in _ticks(axes.low, axes.high):
        y = axes.y(value)
        parts.append(f'<path d="M{axes.left - 4:.1f} {y:.1f}h4" stroke="{INK}"/>')
        parts.append(_small(axes.left - 7, y + 4, f"{value:g}", "end"))
    for value in _ticks(0, axes.last):
        x = axes.x(value)
        parts.append(f'<path d="M{x:.1f} {axes.bottom:.1f}v4" stroke="{INK}"/>')
        parts.append(_small(x, axes.bottom + 16, f"{value:g}", "middle"))
    return "".join(parts)


def _small(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="11">{text}</text>'


def _ticks(low: float, high: float) -> list[float]:
    """About five round values within a range."""
    rough = (high - low) / 5
    power = 10 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
    first = math.ceil(low / step - 1e-9)
    return [round(number * step, 10) for number in range(first, math.floor(high / step + 1e-9) + 1)]
