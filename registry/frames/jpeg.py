"""JPEG: scaled decodes only, since the full size is never needed."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from registry.frames import refusals, segments
from registry.frames.encoding import Encoding
from registry.frames.exif import ExifFacts, facts_from_block
from registry.frames.frame import LightGrid, shares_at_ends, upright
from registry.frames.limits import FrameLimits
from registry.frames.profiles import convert_by_table, read_profile, table_encoding

_SCALES = (8, 4, 2)
_LEAST_MEASURED = 288  # three pixels for each cell of the measured grid
_LEAST_PICTURE = 1200
_COLOURS = {1: 1, 3: 3}


@dataclass(frozen=True)
class JpegFrame:
    """A checked JPEG.

    data: the sanitised file. width, height: as stored, before turning upright.
    orientation: EXIF orientation 1–8; by_camera: whether its EXIF held a maker's notes.
    exif: facts of the original file; empty when this was read from a kept file.
    """

    data: bytes
    width: int
    height: int
    orientation: int
    by_camera: bool
    exif: ExifFacts


def open_jpeg(path: Path, limits: FrameLimits) -> JpegFrame:
    """Check a JPEG without decoding it, and drop everything but the picture.

    Raises Unreadable or TooLarge with the codes of refusals.py.
    """
    parts = segments.walk(path.read_bytes(), limits.scans)
    refusals.check_size(parts.width, parts.height, limits.pixels, limits.side)
    if parts.components not in _COLOURS:
        raise refusals.unsupported(
            f"This JPEG has {parts.components} colour channels, as for printing.",
            "Export it as an RGB picture in sRGB, or send the camera's own file.",
            parts.components,
        )
    exif = facts_from_block(parts.exif)
    orientation, by_camera = parts.facts or (exif.orientation, exif.by_camera)
    return JpegFrame(
        data=segments.sanitised(parts, orientation, by_camera),
        width=parts.width,
        height=parts.height,
        orientation=orientation,
        by_camera=by_camera,
        exif=exif,
    )


def jpeg_light(frame: JpegFrame) -> LightGrid:
    """The frame's light from a decode at an eighth (smaller frames: a quarter, a half) of its size."""
    codes, encoding = _scaled_codes(frame, _LEAST_MEASURED)
    clipped, black = shares_at_ends(codes)
    wide, high = frame.width, frame.height
    return LightGrid(
        values=upright(encoding.lookup(codes), frame.orientation),
        width=high if frame.orientation >= 5 else wide,
        height=wide if frame.orientation >= 5 else high,
        clipped=clipped,
        black=black,
        kind="jpeg",
        linear=encoding.linear,
        by_camera=frame.by_camera and not encoding.linear,
        matrix=encoding.matrix,
        notes=encoding.notes,
    )


def jpeg_picture(frame: JpegFrame) -> tuple[np.ndarray, Encoding]:
    """Codes (height, width, 3) for a picture to look at, upright, long side at least 1200 where there is
    as much, and their encoding."""
    codes, encoding = _scaled_codes(frame, _LEAST_PICTURE)
    return upright(codes, frame.orientation), encoding


def _scaled_codes(frame: JpegFrame, least: int) -> tuple[np.ndarray, Encoding]:
    long_side = max(frame.width, frame.height)
    scale = next((scale for scale in _SCALES if long_side // scale >= least), 1)
    with Image.open(io.BytesIO(frame.data), formats=["JPEG"]) as image:
        profile = image.info.get("icc_profile")
        image.draft(None, (max(1, frame.width // scale), max(1, frame.height // scale)))
        image.load()
        colours = 1 if image.mode == "L" else 3
        codes = np.asarray(image)
    if codes.ndim == 2:
        codes = np.repeat(codes[..., None], 3, axis=2)
    encoding = read_profile(profile, colours)
    if encoding is None:
        return convert_by_table(codes, profile), table_encoding()
    return codes, encoding
