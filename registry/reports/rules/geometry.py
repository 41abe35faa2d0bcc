"""How large the sensor behind a frame is, which measuring leans on for the lens's natural falloff."""

from __future__ import annotations

import math
from typing import Any

from registry.gear.models import Body

FULL_FRAME_HALF_DIAGONAL_MM = math.hypot(36, 24) / 2


def half_diagonal_mm(body: Body | None, exif: dict[str, Any]) -> float | None:
    """Half the sensor's diagonal in mm: the body's, else what EXIF's two focal lengths imply, else None.

    The equivalent focal length relates diagonals to that of 36 × 24 mm (Exif 2.32, FocalLengthIn35mmFilm).
    """
    if body is not None:
        return body.half_diagonal_mm
    own, equivalent = exif.get("focal_length_mm"), exif.get("focal_length_35mm")
    if own and equivalent and 0.2 < equivalent / own < 12:
        return FULL_FRAME_HALF_DIAGONAL_MM * own / equivalent
    return None
