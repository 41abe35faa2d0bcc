"""Rendered frames as files: JPEG, PNG and 16-bit TIFF, with the EXIF of a camera. Raw files: see dng.py."""

from __future__ import annotations

import io
from os import PathLike
from pathlib import Path
from typing import BinaryIO

import tifffile
from PIL import Image

from registry.simulation.dng import dng_bytes
from registry.simulation.exif import CameraExif, exif_block
from registry.simulation.orientation import turned
from registry.simulation.render import Rendered
from registry.simulation.tiff_exif import add_exif, main_tags
from registry.simulation.tones import quantise

Target = str | PathLike[str] | BinaryIO | None


def write_jpeg(
    rendered: Rendered,
    target: Target = None,
    *,
    exif: CameraExif | None = None,
    quality: int = 92,
    tone: str | None = "srgb",
    progressive: bool = False,
    icc_profile: bytes | None = None,
) -> bytes:
    """Write an 8-bit JPEG to a path or open binary file, if any is given, and return its bytes.

    tone: "srgb", "camera" (an S curve over sRGB) or None (linear). Without exif the file carries none.
    Raises InvalidInput on an orientation other than 1, 3, 6, 8 or an unknown tone curve.
    """
    return _write_with_pillow(
        rendered,
        target,
        exif,
        tone,
        icc_profile,
        format="JPEG",
        quality=quality,
        progressive=progressive,
    )


def write_png(
    rendered: Rendered,
    target: Target = None,
    *,
    exif: CameraExif | None = None,
    tone: str | None = "srgb",
    icc_profile: bytes | None = None,
    compress_level: int = 1,
) -> bytes:
    """Write an 8-bit PNG as write_jpeg does a JPEG, with the same errors."""
    return _write_with_pillow(
        rendered, target, exif, tone, icc_profile, format="PNG", compress_level=compress_level
    )


def write_tiff16(
    rendered: Rendered,
    target: Target = None,
    *,
    exif: CameraExif | None = None,
    tone: str | None = "srgb",
    compression: str | None = None,
    icc_profile: bytes | None = None,
) -> bytes:
    """Write a 16-bit RGB TIFF as write_jpeg does a JPEG, with the same errors.

    compression: None, "lzw" or "zlib". A linear file (tone None) should carry a profile that says so:
    registry.simulation.profile.linear_profile().
    """
    codes = quantise(rendered.pixels, tone, 65536)
    buffer = io.BytesIO()
    tifffile.imwrite(
        buffer,
        codes if exif is None else turned(codes, exif.orientation),
        byteorder="<",
        photometric="rgb",
        compression=compression,
        iccprofile=icc_profile,
        metadata=None,
        software=False,
        extratags=() if exif is None else main_tags(exif),
    )
    content = buffer.getvalue()
    return deliver(content if exif is None else add_exif(content, exif, rendered), target)


def write_dng(rendered: Rendered, target: Target = None, *, exif: CameraExif | None = None) -> bytes:
    """Write a raw frame (DNG, Bayer mosaic of 14 bits) and return its bytes. See dng.dng_bytes."""
    return deliver(dng_bytes(rendered, exif or CameraExif()), target)


def deliver(content: bytes, target: Target) -> bytes:
    """Put content where it should go, and hand it back."""
    if target is None:
        return content
    if hasattr(target, "write"):
        target.write(content)
    else:
        Path(target).write_bytes(content)
    return content


def _write_with_pillow(
    rendered: Rendered,
    target: Target,
    exif: CameraExif | None,
    tone: str | None,
    icc_profile: bytes | None,
    **options: object,
) -> bytes:
    codes = quantise(rendered.pixels, tone)
    if exif is not None:
        codes = turned(codes, exif.orientation)
        options["exif"] = exif_block(exif, rendered)
    if icc_profile is not None:
        options["icc_profile"] = icc_profile
    buffer = io.BytesIO()
    Image.fromarray(codes).save(buffer, **options)
    return deliver(buffer.getvalue(), target)
