"""Frames on one's own machine: trusted, so read in this process."""

from __future__ import annotations

from pathlib import Path

from registry.frames.decode import decode_with_exif
from registry.frames.exif import KeptExif
from registry.frames.limits import DEFAULT_LIMITS, FrameLimits
from registry.optics.linear_image import LinearImage


def read_local(path: str | Path, *, limits: FrameLimits = DEFAULT_LIMITS) -> tuple[LinearImage, KeptExif]:
    """Light and kept EXIF of a local file. Raises Unreadable or TooLarge with the codes of refusals.py."""
    image, facts = decode_with_exif(path, limits=limits)
    return image, facts.kept
