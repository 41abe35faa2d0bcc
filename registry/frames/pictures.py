"""Pictures for people: re-encoded sRGB without any metadata."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from registry.frames.encoding import Encoding, linear_to_srgb, mix, srgb_to_linear
from registry.frames.frame import LightGrid

PICTURE_LONG_SIDE = 1600
THUMBNAIL_LONG_SIDE = 320
_PICTURE_QUALITY, _THUMBNAIL_QUALITY = 88, 80
_TABLE_SIZE = 4096
_TO_SRGB = np.rint(255 * linear_to_srgb(np.arange(_TABLE_SIZE) / (_TABLE_SIZE - 1))).astype(np.uint8)


def picture_of_codes(codes: np.ndarray, encoding: Encoding) -> np.ndarray:
    """8-bit sRGB (height, width, 3) of a file's own codes."""
    if encoding.matrix is None and encoding.curves[0] is srgb_to_linear and codes.dtype == np.uint8:
        return codes
    return _srgb(encoding.to_rec709(encoding.lookup(codes)))


def picture_of_light(grid: LightGrid) -> np.ndarray:
    """8-bit sRGB (height, width, 3) of linear light, balanced as the camera meant it."""
    values = grid.values * np.array(grid.balance, dtype=np.float32)
    if grid.matrix is not None:
        values = mix(values, grid.matrix)
    return _srgb(values)


def picture_image(codes: np.ndarray) -> Image.Image:
    """8-bit sRGB codes as an image whose long side is at most 1600; it carries no metadata."""
    return _at_most(Image.fromarray(np.ascontiguousarray(codes)), PICTURE_LONG_SIDE)


def write_pictures(codes: np.ndarray, picture_path: Path, thumbnail_path: Path) -> tuple[int, int]:
    """Write picture and thumbnail as JPEG; returns the picture's width and height."""
    picture = picture_image(codes)
    picture.save(picture_path, "JPEG", quality=_PICTURE_QUALITY)
    thumbnail = _at_most(picture, THUMBNAIL_LONG_SIDE)
    thumbnail.save(thumbnail_path, "JPEG", quality=_THUMBNAIL_QUALITY)
    return picture.size


def _at_most(image: Image.Image, long_side: int) -> Image.Image:
    scale = long_side / max(image.size)
    if scale >= 1:
        return image
    size = tuple(max(1, round(length * scale)) for length in image.size)
    return image.resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0)


def _srgb(linear: np.ndarray) -> np.ndarray:
    places = np.clip(linear, 0, 1) * (_TABLE_SIZE - 1)
    return _TO_SRGB.take(np.rint(places).astype(np.uint16))
