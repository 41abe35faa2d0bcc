"""HEIC, as telephones write it: decoded whole at 8 bits."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pillow_heif

from registry.frames import refusals
from registry.frames.exif import ExifFacts, facts_from_block
from registry.frames.frame import LightGrid
from registry.frames.grids import coded_light
from registry.frames.limits import FrameLimits
from registry.frames.profiles import convert_by_table, read_profile, table_encoding


def read_heic(path: Path, limits: FrameLimits) -> tuple[LightGrid, ExifFacts]:
    """Decode a HEIC's main picture whole; the library has turned it upright.

    Raises Unreadable or TooLarge with the codes of refusals.py.
    """
    try:
        file = pillow_heif.open_heif(path, convert_hdr_to_8bit=True)
        if len(file) > limits.pages:
            raise refusals.too_many_pages(len(file), limits.pages)
        picture = file[file.primary_index]
        refusals.check_size(*picture.size, limits.pixels, limits.side)
        codes = np.asarray(picture)[..., :3]
    except (ValueError, EOFError, SyntaxError, RuntimeError) as error:
        raise refusals.truncated(f"its picture data can't be read ({type(error).__name__})") from error
    profile = picture.info.get("icc_profile")
    block = picture.info.get("exif") or b""
    facts = facts_from_block(block[6:] if block.startswith(b"Exif\0\0") else block)
    encoding = read_profile(profile, 3)
    if encoding is None:
        codes, encoding = convert_by_table(np.ascontiguousarray(codes), profile), table_encoding()
    grid = coded_light(codes, encoding, kind="heic", orientation=1)
    return dataclasses.replace(grid, by_camera=facts.by_camera and not grid.linear), facts
