"""Angles that a lens sees."""

from __future__ import annotations

import math

FULL_FRAME_HALF_DIAGONAL_MM = math.hypot(36, 24) / 2


def angle_of_view(
    focal_length_mm: float,
    half_diagonal_mm: float = FULL_FRAME_HALF_DIAGONAL_MM,
    *,
    fisheye: bool = False,
) -> float:
    """Diagonal angle of view in degrees, at infinity.

    Rectilinear: 2 atan(d / f); fisheye by the equidistant projection: 2 d / f, at most 360.
    """
    ratio = half_diagonal_mm / focal_length_mm
    return min(360.0, math.degrees(2 * ratio)) if fisheye else math.degrees(2 * math.atan(ratio))


def focal_length_35mm(focal_length_mm: float, half_diagonal_mm: float) -> float:
    """The focal length in mm that sees the same angle on 36 × 24 mm (CIPA DCG-001 calls it 35 mm equivalent)."""
    return focal_length_mm * FULL_FRAME_HALF_DIAGONAL_MM / half_diagonal_mm


def half_diagonal_from(focal_length_mm: float | None, equivalent_mm: float | None) -> float | None:
    """Half the sensor's diagonal in mm, as a camera's own and equivalent focal lengths imply it; None if they don't.

    Ratios that no camera has (below 0.2 or above 12) are taken for mistakes.
    """
    if not focal_length_mm or not equivalent_mm or not 0.2 < equivalent_mm / focal_length_mm < 12:
        return None
    return FULL_FRAME_HALF_DIAGONAL_MM * focal_length_mm / equivalent_mm
