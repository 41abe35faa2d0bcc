"""Decoding in this process: for files that are trusted, and inside the limited process for those that aren't."""

from __future__ import annotations

from pathlib import Path

from registry.frames import refusals
from registry.frames.exif import ExifFacts
from registry.frames.heic import read_heic
from registry.frames.jpeg import jpeg_light, open_jpeg
from registry.frames.kept import quantised, read_kept_grid
from registry.frames.limits import DEFAULT_LIMITS, FrameLimits
from registry.frames.png import read_png
from registry.frames.raw import read_raw
from registry.frames.sniff import check_file, sniff
from registry.frames.tiff import read_tiff
from registry.optics.linear_image import LinearImage

WHOLE_READERS = {"png": read_png, "tiff": read_tiff, "raw": read_raw, "heic": read_heic}


def decode(path: str | Path, *, limits: FrameLimits = DEFAULT_LIMITS) -> LinearImage:
    """The light of a file, as taking it in would give it.

    Raises Unreadable or TooLarge with the codes of refusals.py.
    """
    return decode_with_exif(path, limits=limits)[0]


def decode_with_exif(
    path: str | Path, *, limits: FrameLimits = DEFAULT_LIMITS
) -> tuple[LinearImage, ExifFacts]:
    """The light of a file and its EXIF facts. Raises as decode does."""
    path = Path(path)
    kind = check_file(path, limits)
    with refusals.decoder_errors():
        if kind == "jpeg":
            frame = open_jpeg(path, limits)
            return jpeg_light(frame).to_linear_image(), frame.exif
        grid, facts = WHOLE_READERS[kind](path, limits)
        return quantised(grid).to_linear_image(), facts


def read_kept(path: str | Path, *, limits: FrameLimits = DEFAULT_LIMITS) -> LinearImage:
    """The light of a frame that was kept for measuring again: the same as when it was taken in.

    Raises Unreadable (not-a-kept-frame) when the file is neither a kept JPEG nor a kept linear TIFF.
    """
    path = Path(path)
    if sniff(path) == "jpeg":
        return decode(path, limits=limits)
    return read_kept_grid(path).to_linear_image()
