"""Frames on one's own machine: trusted, so read in this process."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from registry.frames import refusals
from registry.frames.decode import WHOLE_READERS, decode_with_exif
from registry.frames.exif import KeptExif
from registry.frames.jpeg import jpeg_light, jpeg_picture, open_jpeg
from registry.frames.kept import write_kept
from registry.frames.limits import DEFAULT_LIMITS, FrameLimits
from registry.frames.pictures import picture_image, picture_of_codes, picture_of_light
from registry.frames.sniff import check_file
from registry.optics.linear_image import LinearImage


def read_local(path: str | Path, *, limits: FrameLimits = DEFAULT_LIMITS) -> tuple[LinearImage, KeptExif]:
    """Light and kept EXIF of a local file. Raises Unreadable or TooLarge with the codes of refusals.py."""
    image, facts = decode_with_exif(path, limits=limits)
    return image, facts.kept


def reduce_local(path: str | Path, target: str | Path, *, limits: FrameLimits = DEFAULT_LIMITS) -> KeptExif:
    """Write a local file's reduced frame (reduced.py), the same bytes each time; returns the EXIF that is in it.

    Raises Unreadable or TooLarge with the codes of refusals.py.
    """
    path = Path(path)
    kind = check_file(path, limits)
    with refusals.decoder_errors():
        if kind == "jpeg":
            frame = open_jpeg(path, limits)
            grid, facts = jpeg_light(frame), frame.exif
        else:
            grid, facts = WHOLE_READERS[kind](path, limits)
    write_kept(grid, Path(target), facts.kept)
    return facts.kept


def read_local_picture(path: str | Path, *, limits: FrameLimits = DEFAULT_LIMITS) -> np.ndarray:
    """A local file as a picture to draw on: 8-bit sRGB (height, width, 3), upright, long side at most 1600.

    Raises Unreadable or TooLarge with the codes of refusals.py.
    """
    path = Path(path)
    kind = check_file(path, limits)
    with refusals.decoder_errors():
        if kind == "jpeg":
            codes = picture_of_codes(*jpeg_picture(open_jpeg(path, limits)))
        else:
            codes = picture_of_light(WHOLE_READERS[kind](path, limits)[0])
        return np.asarray(picture_image(codes))
