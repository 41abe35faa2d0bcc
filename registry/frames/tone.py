"""How far a camera's own picture may bend light, when nobody says.

A JPEG is written for looking at. A file without a camera's private notes has been through software, says
(by its profile, or by the default of the web) that it is sRGB, and is read as IEC 61966-2-1 has it: slope 1.
A JPEG straight from a camera has been through the maker's picture style. Its curve is unknown, but styles
share a shape: a slope g in the shadows that falls as the highlights are rolled off towards white,

    d log2(value) / d log2(light) = g · (1 − value / white),

the slope of value = white · x^g / (x^g + a), which is the saturation curve of Naka and Rushton (1966, form from
memory). With g from 1.0 (neutral styles) to 1.8 (vivid ones) and white from 1.25 to 2.5 (hard and soft
shoulders; both ranges: common practice, no source), mid grey (.18) has slopes .86 to 1.67, half white .60 to
1.44. The one curve that was measured for this project, 1.35 to 1.5 in the middle, lies inside, and so does the
simulation's own S curve. Near white a floor of .35 stands for the slope; exposure is better chosen lower.
"""

from __future__ import annotations

CAMERA_CURVE = "tone-curve-unknown"
SRGB_READ = "tone-curve-read-as-srgb"
_SHADOW_SLOPES = (1.0, 1.8)
_WHITES = (1.25, 2.5)
_LEAST_SLOPE = 0.35


def camera_slope_bounds(level: float) -> tuple[float, float]:
    """Bounds of the local slope of a camera's tone curve at a linear output level (0–1)."""
    slopes = [g * (1 - level / white) for g in _SHADOW_SLOPES for white in _WHITES]
    return (max(min(slopes), _LEAST_SLOPE), max(*slopes, _LEAST_SLOPE))


def tone_of(level: float, *, linear: bool, by_camera: bool) -> tuple[tuple[float, float], str | None]:
    """Slope bounds of a file at its median linear level, and the note that states them (None if linear)."""
    if linear:
        return (1.0, 1.0), None
    if by_camera:
        return camera_slope_bounds(level), CAMERA_CURVE
    return (1.0, 1.0), SRGB_READ
