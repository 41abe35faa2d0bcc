"""Raw files: the sensor's own numbers, averaged colour by colour, with no demosaicing.

Each block of the kept grid holds whole periods of the colour mosaic; a channel is the mean of its photosites
in the block, less black, over white less black. That is proportional to light by construction.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rawpy

from registry.frames import refusals
from registry.frames.averaging import block_mean
from registry.frames.exif import ExifFacts, facts_from_file
from registry.frames.frame import LightGrid, upright
from registry.frames.grids import block_size
from registry.frames.limits import FrameLimits

_NEAR_WHITE, _NEAR_BLACK = 0.99, 0.002
# LibRaw's flip as an EXIF orientation.
_ORIENTATIONS = {0: 1, 3: 3, 5: 8, 6: 6}
_CHANNEL_OF = {"R": 0, "G": 1, "B": 2}


@dataclass
class _Sums:
    """Running channel sums over the photosites of a mosaic's period."""

    light: np.ndarray
    counts: np.ndarray
    clipped: np.ndarray
    black: np.ndarray


def read_raw(path: Path, limits: FrameLimits) -> tuple[LightGrid, ExifFacts]:
    """Read a raw file's sensor data.

    Raises Unreadable or TooLarge with the codes of refusals.py.
    """
    try:
        with rawpy.imread(str(path)) as raw:
            size = raw.sizes
            refusals.check_size(size.raw_width, size.raw_height, limits.pixels, limits.side)
            grid = _flat_light(raw) if raw.raw_type == rawpy.RawType.Flat else _stacked_light(raw)
    except rawpy.LibRawError as error:
        raise _unread(error) from error
    return grid, facts_from_file(path)


def _unread(error: rawpy.LibRawError):
    if isinstance(error, (rawpy.LibRawIOError, rawpy.LibRawDataError)):
        return refusals.truncated("the sensor data break off or are damaged", str(error))
    if isinstance(error, rawpy.LibRawUnsufficientMemoryError):
        return refusals.gave_up("it needs more memory than one frame may take")
    return refusals.unsupported(
        "This raw file is of a kind that the raw library doesn't open.",
        "Convert it to DNG, or send the camera's JPEG.",
        str(error),
    )


def _flat_light(raw: rawpy.RawPy) -> LightGrid:
    """Light of one number a photosite, whatever the mosaic's period."""
    sensor, pattern = raw.raw_image_visible, raw.raw_pattern
    names = raw.color_desc.decode("latin-1")
    if pattern is None or any(names[index] not in _CHANNEL_OF for index in pattern.flat):
        raise refusals.unsupported(
            f"This raw file's sensor has the colours “{names}”.",
            "Convert it to a 16-bit TIFF, or send the camera's JPEG.",
            names,
        )
    period = pattern.shape[0]
    size = block_size(sensor.shape[1], sensor.shape[0], period)
    height, width = (length // size * size for length in sensor.shape)
    sums = _Sums(
        light=np.zeros((height // size, width // size, 3), dtype=np.float32),
        counts=np.zeros(3),
        clipped=np.zeros((height // period, width // period), dtype=bool),
        black=np.ones((height // period, width // period), dtype=bool),
    )
    for row, column in np.ndindex(pattern.shape):
        colour = int(pattern[row, column])
        plane = sensor[row:height:period, column:width:period]
        _add(sums, plane, _CHANNEL_OF[names[colour]], size // period, *_levels(raw, colour))
    return _grid(raw, sums.light / sums.counts.astype(np.float32), sums.clipped.mean(), sums.black.mean())


def _add(sums: _Sums, plane: np.ndarray, channel: int, size: int, black: float, white: float) -> None:
    reach = white - black
    sums.light[..., channel] += (block_mean(plane, size) - np.float32(black)) / np.float32(reach)
    sums.counts[channel] += 1
    sums.clipped |= plane >= black + _NEAR_WHITE * reach
    sums.black &= plane <= black + _NEAR_BLACK * reach


def _levels(raw: rawpy.RawPy, colour: int) -> tuple[float, float]:
    """Black and white of one colour of the mosaic, in the sensor's numbers."""
    black = float(raw.black_level_per_channel[colour])
    own_white = raw.camera_white_level_per_channel
    white = float(own_white[colour] if own_white and own_white[colour] else raw.white_level)
    if not white > black:
        raise refusals.unsupported(
            f"This raw file claims a white level of {white:g} and a black level of {black:g}.",
            "Convert it to DNG, or send the camera's JPEG.",
            [black, white],
        )
    return black, white


def _stacked_light(raw: rawpy.RawPy) -> LightGrid:
    """Light of files that hold three numbers a pixel (linear DNG)."""
    sensor = raw.raw_image_visible
    if sensor.ndim != 3 or sensor.shape[2] < 3:
        raise refusals.unsupported(
            f"This raw file holds {sensor.shape[2:] or 1} numbers a pixel.",
            "Convert it to a 16-bit TIFF, or send the camera's JPEG.",
        )
    black, white = _levels(raw, 0)
    light = (
        block_mean(sensor[..., :3], block_size(sensor.shape[1], sensor.shape[0])) - np.float32(black)
    ) / (np.float32(white - black))
    brightest = sensor[..., :3].max(axis=2)
    clipped = np.mean(brightest >= black + _NEAR_WHITE * (white - black))
    return _grid(raw, light, clipped, np.mean(brightest <= black + _NEAR_BLACK * (white - black)))


def _grid(raw: rawpy.RawPy, light: np.ndarray, clipped: float, black: float) -> LightGrid:
    orientation = _ORIENTATIONS.get(raw.sizes.flip, 1)
    height, width = raw.raw_image_visible.shape[:2]
    turned = orientation >= 5
    return LightGrid(
        values=upright(light, orientation),
        width=height if turned else width,
        height=width if turned else height,
        clipped=float(clipped),
        black=float(black),
        kind="raw",
        linear=True,
        balance=_balance(raw, light),
        notes=("raw-camera-channels",),
    )


def _balance(raw: rawpy.RawPy, light: np.ndarray) -> tuple[float, float, float]:
    """Gains for a picture: the camera's white balance, or those that make the mean grey; the least is 1."""
    gains = np.array(raw.camera_whitebalance[:3], dtype=float)
    if not (np.isfinite(gains).all() and (gains > 0).all()):
        gains = 1 / np.maximum(light.reshape(-1, 3).mean(axis=0), 1e-4)
    return tuple(float(gain) for gain in gains / gains.min())
