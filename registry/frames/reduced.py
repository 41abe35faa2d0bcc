"""Reduced frames: what a contributor's own machine sends in place of the camera's file.

A reduced frame is a kept frame (kept.py) with the few EXIF facts that are kept of any frame: the light that measuring
reads, linear, on a grid whose long side is at most 1500, in a 16-bit TIFF that holds nothing else. It measures as
the file that it was made from. Since anyone may write such a file, its description is believed within bounds only.
"""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
import tifffile

from registry.frames import refusals
from registry.frames.exif import ExifFacts, exif_from_plain
from registry.frames.frame import LightGrid
from registry.frames.grids import KEPT_LONG_SIDE
from registry.frames.kept import FORM
from registry.frames.limits import FrameLimits

KINDS = ("jpeg", "png", "tiff", "raw", "heic")
_MATRIX_BOUND, _GAINS = 20.0, (0.05, 20.0)
_MOST_NOTES, _LONGEST_NOTE = 20, 60


def description_of(page: tifffile.TiffPage) -> dict[str, Any] | None:
    """What a reduced frame says of itself; None for every other TIFF."""
    text = page.description or ""
    if FORM not in text:
        return None
    try:
        told = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return told if isinstance(told, dict) and told.get("form") == FORM else None


def read_reduced(codes: np.ndarray, told: dict[str, Any], limits: FrameLimits) -> tuple[LightGrid, ExifFacts]:
    """A reduced frame's light and EXIF from its codes (height, width, 3) of 16 bits and its description.

    Raises Unreadable (damaged-image) where the description contradicts the picture or itself, TooLarge
    (pixel-flood) where the frame that it was made from would have been too large.
    """
    try:
        grid = _grid(codes, told)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise refusals.refusal(
            "damaged-image",
            f"This reduced frame's description can't be right ({error or 'a value is missing'}).",
            "Make it again with the folder command, or send the camera's own file.",
        ) from error
    refusals.check_size(grid.width, grid.height, limits.pixels, limits.side)
    return grid, ExifFacts(exif_from_plain(told.get("exif")), by_camera=grid.by_camera)


def _grid(codes: np.ndarray, told: dict[str, Any]) -> LightGrid:
    if codes.dtype != np.uint16 or codes.ndim != 3 or max(codes.shape) > KEPT_LONG_SIDE:
        raise ValueError(f"a grid of shape {codes.shape}")
    width, height = (_whole(told[name]) for name in ("width", "height"))
    high, wide = codes.shape[:2]
    if width < wide or height < high or abs(math.log(width / height * high / wide)) > 0.1:
        raise ValueError(f"a frame of {width} × {height} pixels")
    if told["kind"] not in KINDS:
        raise ValueError("an unknown kind of file")
    matrix = told["matrix"]
    return LightGrid(
        values=codes.astype(np.float32) / np.float32(65535),
        width=width,
        height=height,
        clipped=_within(told["clipped"], 0, 1),
        black=_within(told["black"], 0, 1),
        kind=told["kind"],
        linear=told["linear"] is True,
        by_camera=told["by_camera"] is True,
        matrix=None if matrix is None else _matrix(matrix),
        balance=tuple(_within(gain, *_GAINS) for gain in _three(told["balance"])),
        notes=_notes(told["notes"]),
    )


def _whole(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 < value < 10**6:
        raise ValueError(f"a size of {value}")
    return value


def _within(value: Any, low: float, high: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise ValueError(f"a number of {value}")
    return float(value)


def _three(values: Any) -> list[Any]:
    if not isinstance(values, list) or len(values) != 3:
        raise ValueError("not three values")
    return values


def _matrix(rows: Any) -> np.ndarray:
    bounds = -_MATRIX_BOUND, _MATRIX_BOUND
    return np.array([[_within(value, *bounds) for value in _three(row)] for row in _three(rows)])


def _notes(values: Any) -> tuple[str, ...]:
    if not isinstance(values, list) or len(values) > _MOST_NOTES:
        raise ValueError("too many notes")
    if not all(
        isinstance(note, str) and note.isprintable() and len(note) <= _LONGEST_NOTE for note in values
    ):
        raise ValueError("a note that is none")
    return tuple(values)
