"""What is kept privately for measuring again: light and nothing else.

A JPEG is kept as its own scan data (segments.py). Every other format is kept as linear light
on a grid whose long side is at most 1500, in a 16-bit TIFF whose description says so.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import numpy as np
import tifffile

from registry.frames import refusals
from registry.frames.exif import KeptExif
from registry.frames.frame import LightGrid

FORM = "cleanstop linear light, 65535 = white"
_PLAIN = ("width", "height", "clipped", "black", "kind", "linear", "by_camera")


def quantised(grid: LightGrid) -> LightGrid:
    """The grid as its kept file will give it back, so that a frame measures the same now and later."""
    values = _codes(grid).astype(np.float32) / np.float32(65535)
    return dataclasses.replace(grid, values=values)


def write_kept(grid: LightGrid, path: Path, exif: KeptExif | None = None) -> None:
    """Write a grid as a 16-bit linear TIFF with what LinearImage needs to know in its description.

    exif: goes into it too, for a frame that is to be sent (reduced.py).
    """
    facts: dict[str, Any] = {name: getattr(grid, name) for name in _PLAIN}
    facts |= {
        "form": FORM,
        "balance": list(grid.balance),
        "notes": list(grid.notes),
        "matrix": None if grid.matrix is None else grid.matrix.tolist(),
    }
    if exif is not None:
        facts["exif"] = exif.to_dict()
    tifffile.imwrite(
        path,
        _codes(grid),
        photometric="rgb",
        compression="zlib",
        compressionargs={"level": 1},
        predictor=True,
        description=json.dumps(facts),
        software="Cleanstop",
        metadata=None,
        maxworkers=1,
    )


def read_kept_grid(path: Path) -> LightGrid:
    """Read back what write_kept wrote.

    Raises Unreadable (not-a-kept-frame) for any other file.
    """
    try:
        with tifffile.TiffFile(path) as file:
            facts = json.loads(file.pages[0].description)
            if facts.pop("form") != FORM:
                raise ValueError("another form")
            facts.pop("exif", None)
            values = file.pages[0].asarray(maxworkers=1).astype(np.float32) / np.float32(65535)
        matrix = facts.pop("matrix")
        return LightGrid(
            values=values,
            matrix=None if matrix is None else np.array(matrix),
            balance=tuple(facts.pop("balance")),
            notes=tuple(facts.pop("notes")),
            **facts,
        )
    except (tifffile.TiffFileError, ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
        raise refusals.refusal(
            "not-a-kept-frame",
            f"{path.name} is not a frame that was kept for measuring again.",
            "Take the frame in again from its original.",
            path.name,
        ) from error


def _codes(grid: LightGrid) -> np.ndarray:
    return np.rint(np.clip(grid.values, 0, 1) * 65535).astype(np.uint16)
