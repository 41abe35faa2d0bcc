"""TIFF of 8 or 16 bits: uncompressed, LZW, deflate or PackBits (TIFF 6.0 and its technical notes)."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import tifffile

from registry.frames import refusals
from registry.frames.exif import ExifFacts, facts_from_file
from registry.frames.frame import LightGrid
from registry.frames.grids import coded_light
from registry.frames.limits import FrameLimits
from registry.frames.profiles import read_profile
from registry.frames.reduced import description_of, read_reduced

_COMPRESSIONS = (1, 5, 8, 32773, 32946)
_GREY, _RGB = 1, 2
_ICC_PROFILE = 34675


def read_tiff(path: Path, limits: FrameLimits) -> tuple[LightGrid, ExifFacts]:
    """Decode a TIFF's first picture whole; a reduced frame comes back as the grid that it is.

    Raises Unreadable or TooLarge with the codes of refusals.py.
    """
    try:
        with tifffile.TiffFile(path) as file:
            page = _first_page(file, limits)
            _check(page, path.stat().st_size)
            told = description_of(page)
            tag = page.tags.get(_ICC_PROFILE)
            profile = bytes(tag.value) if tag else None
            codes = _channels(page)
    except (tifffile.TiffFileError, struct.error, ValueError, IndexError, KeyError, RuntimeError) as error:
        raise refusals.truncated(f"its picture data can't be read ({type(error).__name__})") from error
    if told is not None:
        return read_reduced(codes, told, limits)
    encoding = read_profile(profile, 1 if codes.ndim == 2 else 3)
    if encoding is None:
        raise refusals.unsupported(
            "This TIFF's colour profile is a table of colours, which would cost its 16-bit precision.",
            "Export it with the sRGB profile or a linear one.",
        )
    exif = facts_from_file(path)
    return coded_light(codes, encoding, kind="tiff", orientation=exif.orientation), exif


def _first_page(file: tifffile.TiffFile, limits: FrameLimits) -> tifffile.TiffPage:
    pages = 0
    for _ in file.pages:
        pages += 1
        if pages > limits.pages:
            raise refusals.too_many_pages(pages, limits.pages)
    if not pages:
        raise refusals.truncated("it holds no picture")
    page = file.pages[0]
    refusals.check_size(page.imagewidth, page.imagelength * page.imagedepth, limits.pixels, limits.side)
    return page


def _check(page: tifffile.TiffPage, file_size: int) -> None:
    """Refuse codings that aren't taken, and data that lie beyond the file's end."""
    depth, compression = int(page.bitspersample), int(page.compression)
    if depth not in (8, 16) or np.dtype(page.dtype or "V").kind != "u":
        raise refusals.unsupported(
            f"This TIFF has {depth} bits a channel in a form other than 8- or 16-bit whole numbers.",
            "Export it with 16 bits a channel.",
            depth,
        )
    if page.photometric not in (_GREY, _RGB) or compression not in _COMPRESSIONS:
        raise refusals.unsupported(
            f"This TIFF is coded in a way that isn't taken (colour model {int(page.photometric)},"
            f" compression {compression}).",
            "Export it as RGB with LZW, deflate (ZIP) or no compression.",
            compression,
        )
    ends = [start + count for start, count in zip(page.dataoffsets, page.databytecounts, strict=True)]
    if not ends or max(ends) > file_size or min(page.databytecounts) == 0:
        raise refusals.truncated(f"it ends at byte {file_size}, before its picture data do", file_size)
    if compression == 1 and sum(page.databytecounts) < page.size * depth // 8:
        raise refusals.truncated("it holds fewer picture data than it claims")


def _channels(page: tifffile.TiffPage) -> np.ndarray:
    """Codes (height, width) or (height, width, 3) in native byte order, without alpha."""
    codes = page.asarray(maxworkers=1)
    axes = page.axes
    if axes.startswith("S"):
        codes = np.moveaxis(codes, 0, -1)
    if codes.ndim == 3:
        codes = codes[..., :3] if page.photometric == _RGB else codes[..., 0]
    if codes.ndim not in (2, 3) or (codes.ndim == 3 and codes.shape[2] != 3):
        raise refusals.unsupported(
            f"This TIFF's picture has the shape {codes.shape}.", "Export it as one flat RGB picture."
        )
    return codes.astype(codes.dtype.newbyteorder("="), copy=False)
