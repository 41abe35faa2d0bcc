"""Tone curves between linear light and the values that files hold, all on 0–1."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from registry.simulation.checks import one_of

TONES = ("srgb", "camera", None)
_CAMERA_CONTRAST = 0.55
_PIXELS_AT_ONCE = 1 << 17  # stays in the processor's cache


def srgb_encode(linear: np.ndarray) -> np.ndarray:
    """sRGB transfer function of IEC 61966-2-1: linear light to value."""
    linear = np.asarray(linear, dtype=float)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0) ** (1 / 2.4) - 0.055)


def srgb_decode(value: np.ndarray) -> np.ndarray:
    """Inverse of srgb_encode."""
    value = np.asarray(value, dtype=float)
    return np.where(value <= 0.04045, value / 12.92, ((np.maximum(value, 0) + 0.055) / 1.055) ** 2.4)


def camera_encode(linear: np.ndarray) -> np.ndarray:
    """A camera's own picture style: sRGB, then an S that steepens the middle and rolls off the highlights.

    The S blends the identity with 3v² − 2v³; its shape is ours, typical of no single camera.
    """
    value = srgb_encode(linear)
    return value + _CAMERA_CONTRAST * (value * value * (3 - 2 * value) - value)


def encode(linear: np.ndarray, tone: str | None) -> np.ndarray:
    """Values that a file with this tone holds: "srgb", "camera", or None for linear ones.

    Raises InvalidInput for any other tone.
    """
    one_of(tone, TONES, "tone")
    if tone is None:
        return np.asarray(linear)
    return srgb_encode(linear) if tone == "srgb" else camera_encode(linear)


@lru_cache(maxsize=8)
def _table(tone: str | None, levels: int) -> np.ndarray:
    kind = np.uint8 if levels <= 256 else np.uint16
    return np.round(np.clip(encode(np.linspace(0, 1, 65536), tone), 0, 1) * (levels - 1)).astype(kind)


def quantise(linear: np.ndarray, tone: str | None, levels: int = 256) -> np.ndarray:
    """Integer codes 0 … levels − 1 of linear pixels; uint8 up to 256 levels, uint16 above."""
    table = _table(tone, levels)
    codes = np.empty(linear.shape, dtype=table.dtype)
    step = max(1, _PIXELS_AT_ONCE // max(1, linear[0].size))
    for top in range(0, len(linear), step):
        index = np.clip(linear[top : top + step], 0.0, 1.0) * np.float32(65535) + np.float32(0.5)
        codes[top : top + step] = table[index.astype(np.uint16)]
    return codes
