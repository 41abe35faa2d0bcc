"""From a linear image to what is fitted: log2 of luminance on the working grid, and the noise in it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import zoom

from registry.optics.linear_image import LinearImage
from registry.photometry.grid import to_working_size

DARKEST = 1e-5
"""Luminances below this (of white) are taken as this: log2 of nothing would dominate any fit."""

LUMINANCE_WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
"""ITU-R BT.709: luminance of linear R, G, B."""

SMALLEST_NOISE = 0.001


@dataclass(frozen=True, eq=False)
class LogFrame:
    """luminance, red_green, blue_green: log2 of Y, R/G and B/G, shape (height, width). noise: sd of luminance."""

    luminance: np.ndarray
    red_green: np.ndarray
    blue_green: np.ndarray
    noise: float

    @property
    def shape(self) -> tuple[int, int]:
        return self.luminance.shape


def log_frame(image: LinearImage, control: LinearImage | None = None) -> LogFrame:
    """Take logarithms; with a control, of the ratio to it, so that what both share is gone."""
    pixels = to_working_size(np.asarray(image.pixels, dtype=float))
    luminance, red_green, blue_green = _logarithms(pixels)
    if control is not None:
        other = _logarithms(
            _fitted(to_working_size(np.asarray(control.pixels, dtype=float)), pixels.shape[:2])
        )
        luminance = luminance - other[0]
    return LogFrame(luminance, red_green, blue_green, max(noise_of(luminance), SMALLEST_NOISE))


def _logarithms(pixels):
    pixels = np.maximum(pixels, DARKEST)
    red, green, blue = np.log2(pixels).transpose(2, 0, 1)
    return np.log2(pixels @ LUMINANCE_WEIGHTS), red - green, blue - green


def _fitted(pixels, shape):
    if pixels.shape[:2] == shape:
        return pixels
    factors = (shape[0] / pixels.shape[0], shape[1] / pixels.shape[1], 1)
    return zoom(pixels, factors, order=1, mode="nearest", grid_mode=True)


def noise_of(field: np.ndarray) -> float:
    """Standard deviation of white noise in a smooth field, from second differences along rows.

    The second difference of white noise has variance 6 σ²; its median absolute value is robust to edges.
    """
    second = field[:, 2:] - 2 * field[:, 1:-1] + field[:, :-2]
    return float(np.median(np.abs(second)) / 0.6745 / np.sqrt(6))
