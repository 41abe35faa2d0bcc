"""The short way from a rendered frame to the reduced linear image that measuring takes, without a file."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from PIL import Image

from registry.optics.linear_image import LinearImage
from registry.simulation.checks import one_of
from registry.simulation.render import Rendered
from registry.simulation.tones import quantise, srgb_decode, srgb_encode

LONG_SIDE = 96
_LEVELS = {"jpeg": 256, "png": 256, "tiff": 65536, "raw": 16384}


@lru_cache(maxsize=4)
def _decoded(levels: int) -> np.ndarray:
    return srgb_decode(np.arange(levels) / (levels - 1)).astype(np.float32)


def area_average(pixels: np.ndarray, long_side: int = LONG_SIDE) -> np.ndarray:
    """Average pixels (height, width, 3) over equal cells so that the long side has long_side at most."""
    height, width = pixels.shape[:2]
    shrink = min(1.0, long_side / max(width, height))
    columns, rows = max(1, round(width * shrink)), max(1, round(height * shrink))
    if width == columns and height == rows:
        return pixels.astype(np.float32)
    if width % columns == 0 and height % rows == 0:
        down, across = height // rows, width // columns
        strips = np.asarray(pixels, dtype=np.float32).reshape(rows, down, width, 3).sum(axis=1)
        return strips.reshape(rows, columns, across, 3).sum(axis=2) / np.float32(down * across)
    channels = [
        Image.fromarray(np.ascontiguousarray(pixels[..., channel], dtype=np.float32)).resize(
            (columns, rows), Image.Resampling.BOX
        )
        for channel in range(3)
    ]
    return np.stack([np.asarray(channel) for channel in channels], axis=-1)


def _linear(codes: np.ndarray, tone: str | None, levels: int) -> np.ndarray:
    return codes.astype(np.float32) / np.float32(levels - 1) if tone is None else _decoded(levels)[codes]


def as_linear_image(rendered: Rendered, *, kind: str = "jpeg", tone: str | None = "srgb") -> LinearImage:
    """What decoding a file of this frame would hand to measuring, but for the compression of a JPEG.

    kind: "jpeg" and "png" quantise to 8 bits, "tiff" to 16, "raw" to 14 linear ones (tone is ignored), each
    at the rendered size. tone: "srgb", "camera" (read as sRGB, as a reader without better knowledge does), or
    None for linear. Shares are 0–1; median_level is an 8-bit sRGB code. Raises InvalidInput on any other kind or tone.
    """
    one_of(kind, tuple(_LEVELS), "kind")
    tone = None if kind == "raw" else tone
    levels = _LEVELS[kind]
    codes = quantise(rendered.pixels, tone, levels)
    linear = _linear(codes, tone, levels)
    top, bottom = round((levels - 1) * 253 / 255), round((levels - 1) * 2 / 255)
    brightest = np.maximum(np.maximum(codes[..., 0], codes[..., 1]), codes[..., 2])
    median = np.partition(brightest, brightest.size // 2, axis=None)[brightest.size // 2]
    height, width = rendered.pixels.shape[:2]
    return LinearImage(
        pixels=area_average(linear),
        width=width,
        height=height,
        clipped=float(np.mean(brightest >= top)),
        black=float(np.mean(brightest <= bottom)),
        median_level=float(255 * srgb_encode(_linear(median, tone, levels))),
        kind=kind,
        linear=tone is None,
    )
