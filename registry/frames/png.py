"""PNG of 8 or 16 bits (ISO/IEC 15948), checked chunk by chunk before anything is allocated."""

from __future__ import annotations

import dataclasses
import struct
from dataclasses import dataclass
from pathlib import Path

import imagecodecs
import numpy as np
from PIL import Image

from registry.frames import refusals
from registry.frames.encoding import SRGB, Encoding, power_curve
from registry.frames.exif import ExifFacts, block_of, facts_from_block
from registry.frames.frame import LightGrid
from registry.frames.grids import coded_light
from registry.frames.limits import FrameLimits
from registry.frames.profiles import convert_by_table, read_profile, table_encoding

_MOST_CHUNKS = 100_000
_SRGB_GAMMA = 45455  # gAMA of 1/2.2, which stands for sRGB (ISO/IEC 15948, 11.3.3.5)
# Transfer characteristics of a cICP chunk (ITU-T H.273): 1 and 6 are read as video, 8 is linear, 13 is sRGB.
_CICP_LINEAR, _CICP_SRGB = 8, 13


@dataclass(frozen=True)
class _Header:
    width: int
    height: int
    depth: int
    gamma: int | None
    cicp: int | None
    said_srgb: bool


def read_png(path: Path, limits: FrameLimits) -> tuple[LightGrid, ExifFacts]:
    """Decode a PNG whole.

    Raises Unreadable or TooLarge with the codes of refusals.py.
    """
    header = _walk(path, limits)
    with Image.open(path, formats=["PNG"]) as image:
        profile, exif = image.info.get("icc_profile"), facts_from_block(block_of(image))
        if header.depth < 16:
            mode = "L" if image.mode in ("1", "L", "LA") else "RGB"
            codes = np.asarray(image if image.mode == mode else image.convert(mode))
        else:
            codes = _without_alpha(imagecodecs.png_decode(path.read_bytes()))
    encoding = _encoding(header, profile, 1 if codes.ndim == 2 else 3)
    if encoding is None:
        codes, encoding = convert_by_table(_as_8_bit(codes), profile), table_encoding()
    grid = coded_light(codes, encoding, kind="png", orientation=exif.orientation)
    return dataclasses.replace(grid, by_camera=exif.by_camera and not grid.linear), exif


def _walk(path: Path, limits: FrameLimits) -> _Header:
    """Check the chunk structure to its end and the declared size; note what tells of the encoding."""
    found: dict[bytes, bytes] = {}
    size = path.stat().st_size
    with path.open("rb") as file:
        position = 8
        for _ in range(_MOST_CHUNKS):
            file.seek(position)
            start = file.read(8)
            if len(start) < 8:
                raise refusals.truncated(f"it ends at byte {size} without its end mark", size)
            length, name = struct.unpack(">I4s", start)
            position += 12 + length
            if position > size:
                raise refusals.truncated(
                    f"it ends at byte {size}, within a {name.decode('latin-1')} part", size
                )
            if name in (b"IHDR", b"gAMA", b"cICP", b"sRGB", b"acTL") and length <= 64:
                found.setdefault(name, file.read(length))
            if name == b"IEND":
                return _header(found, limits)
    raise refusals.unsupported(
        f"This PNG has more than {_MOST_CHUNKS} parts.", "Save it again as a plain PNG.", _MOST_CHUNKS
    )


def _header(found: dict[bytes, bytes], limits: FrameLimits) -> _Header:
    if len(found.get(b"IHDR", b"")) != 13:
        raise refusals.truncated("its header is missing")
    width, height, depth = struct.unpack_from(">IIB", found[b"IHDR"])
    refusals.check_size(width, height, limits.pixels, limits.side)
    pages = struct.unpack_from(">I", found[b"acTL"])[0] if len(found.get(b"acTL", b"")) == 8 else 1
    if pages > limits.pages:
        raise refusals.too_many_pages(pages, limits.pages)
    gamma, cicp = found.get(b"gAMA", b""), found.get(b"cICP", b"")
    return _Header(
        width,
        height,
        depth,
        gamma=struct.unpack(">I", gamma)[0] if len(gamma) == 4 else None,
        cicp=cicp[1] if len(cicp) == 4 else None,
        said_srgb=b"sRGB" in found,
    )


def _encoding(header: _Header, profile: bytes | None, colours: int) -> Encoding | None:
    """cICP before iCCP before sRGB before gAMA, as the PNG specification ranks them."""
    if header.cicp is not None:
        return _coded_encoding(header.cicp)
    if profile:
        return read_profile(profile, colours)
    if header.said_srgb:
        return SRGB
    if header.gamma and abs(header.gamma - _SRGB_GAMMA) > 200:
        linear = abs(header.gamma - 100_000) < 200
        return Encoding(curves=(power_curve(100_000 / header.gamma),) * 3, linear=linear)
    return read_profile(None, colours)


def _coded_encoding(transfer: int) -> Encoding:
    if transfer == _CICP_SRGB:
        return SRGB
    if transfer == _CICP_LINEAR:
        return Encoding(curves=(power_curve(1.0),) * 3, linear=True)
    raise refusals.unsupported(
        f"This PNG is coded for video (transfer characteristics {transfer}).",
        "Save it again as sRGB, or send the camera's own file.",
        transfer,
    )


def _without_alpha(codes: np.ndarray) -> np.ndarray:
    if codes.ndim == 3 and codes.shape[2] in (2, 4):
        codes = codes[..., : codes.shape[2] - 1]
    return codes[..., 0] if codes.ndim == 3 and codes.shape[2] == 1 else codes


def _as_8_bit(codes: np.ndarray) -> np.ndarray:
    """8-bit RGB codes of 8- or 16-bit codes, for the colour management library."""
    codes = (codes // 257).astype(np.uint8) if codes.dtype == np.uint16 else codes
    return np.repeat(codes[..., None], 3, axis=2) if codes.ndim == 2 else np.ascontiguousarray(codes)
