"""How large the sensor behind a frame is, which measuring leans on for the lens's natural falloff."""

from __future__ import annotations

from typing import Any

from registry.gear.models import Body
from registry.optics.field_of_view import half_diagonal_from


def half_diagonal_mm(body: Body | None, exif: dict[str, Any]) -> float | None:
    """Half the sensor's diagonal in mm: the body's, else what EXIF's two focal lengths imply, else None."""
    if body is not None:
        return body.half_diagonal_mm
    return half_diagonal_from(exif.get("focal_length_mm"), exif.get("focal_length_35mm"))
