"""Where the pixels of a reduced frame lie, in half-diagonals from the frame's centre."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

WORKING_LONG_SIDE = 112
"""Frames reduced to a longer side than this are averaged in whole blocks: a fit needs no more pixels."""


@dataclass(frozen=True, eq=False)
class Grid:
    """Pixel centres of a frame, flattened in row order.

    height, width: shape of the array. x, y: half-diagonals, x right and y down, shape (height·width,).
    """

    height: int
    width: int
    x: np.ndarray
    y: np.ndarray

    @property
    def half_width(self) -> float:
        return self.width / np.hypot(self.width, self.height)

    @property
    def half_height(self) -> float:
        return self.height / np.hypot(self.width, self.height)

    @cached_property
    def single(self) -> tuple[np.ndarray, np.ndarray]:
        """x and y in single precision."""
        return self.x.astype(np.float32), self.y.astype(np.float32)


@lru_cache(maxsize=32)
def grid_of(height: int, width: int) -> Grid:
    half_diagonal = np.hypot(width, height) / 2
    x, y = np.meshgrid(
        (np.arange(width) + 0.5 - width / 2) / half_diagonal,
        (np.arange(height) + 0.5 - height / 2) / half_diagonal,
    )
    return Grid(height, width, x.ravel(), y.ravel())


def to_working_size(pixels: np.ndarray) -> np.ndarray:
    """Average whole blocks until the long side is at most WORKING_LONG_SIDE.

    pixels: (height, width, channels). A remainder is trimmed from both sides alike, so the centre stays.
    """
    height, width = pixels.shape[:2]
    block = -(-max(height, width) // WORKING_LONG_SIDE)
    if block == 1:
        return pixels
    rows, columns = height // block, width // block
    top, left = (height - rows * block) // 2, (width - columns * block) // 2
    inner = pixels[top : top + rows * block, left : left + columns * block]
    return inner.reshape(rows, block, columns, block, -1).mean((1, 3))
