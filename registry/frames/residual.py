"""A frame's fine grain, by which a second copy of it is known.

Evenly lit frames look alike to hashes of their large shapes; what tells them apart is their noise. Here it is
the luminance on a grid of 1024, less its 3 × 3 mean, from the middle 96 × 96 cells.

Seen on rendered frames of 6 and 24 megapixels (20 copies of 4 frames, 18 unrelated pairs): copies of the same
size, compressed again at quality 75 or brightened by a quarter, .59 to .89; halved copies of 24 megapixels .31
to .35, of 6 megapixels .16 to .17; copies shrunk to 1600 or 2000 pixels .04 to .13: those are not found, nor are
copies of a nearly noiseless frame whose grain hard compression has erased (.15). Unrelated frames: .03 at most.
Frames of one sensor share fixed-pattern noise, so a likeness is shown to people and never acted on by itself.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from registry.frames.averaging import area_average

GRID_LONG_SIDE = 1024
CELLS = 96
LIKELY_COPY = 0.15
_LUMA = (0.299, 0.587, 0.114)  # ITU-R BT.601, of codes
_STEPS_PER_SD = 32


def residual_of(codes: np.ndarray) -> bytes:
    """The residual of 8-bit codes (height, width, 3): 96 × 96 signed bytes, 32 steps to the standard deviation.

    Empty where the frame is too small or has no grain.
    """
    luma = sum(np.float32(weight) * codes[..., index] for index, weight in enumerate(_LUMA))
    grid = area_average(luma[..., None], GRID_LONG_SIDE)[..., 0]
    height, width = grid.shape
    if min(height, width) < CELLS + 2:
        return b""
    top, left = (height - CELLS) // 2, (width - CELLS) // 2
    smooth = sum(
        grid[top + down : top + down + CELLS, left + right : left + right + CELLS]
        for down in (-1, 0, 1)
        for right in (-1, 0, 1)
    )
    residual = grid[top : top + CELLS, left : left + CELLS] - smooth / 9
    spread = float(residual.std())
    if spread < 1e-3:
        return b""
    return np.clip(np.rint(residual * (_STEPS_PER_SD / spread)), -127, 127).astype(np.int8).tobytes()


def likenesses(first: Sequence[bytes], second: Sequence[bytes]) -> np.ndarray:
    """Correlations (−1 to 1) of every one of first with every one of second, shape (first, second), by one matrix
    product in single precision (good to 1e-5); 0 where either is empty."""
    return _standardised(first) @ _standardised(second).T


def _standardised(residuals: Sequence[bytes]) -> np.ndarray:
    """Residuals as rows of length 1 about their mean, shape (residuals, CELLS²); empty ones are all 0."""
    rows = np.zeros((len(residuals), CELLS**2), dtype=np.float32)
    for row, data in zip(rows, residuals, strict=True):
        if len(data) == CELLS**2:
            row[:] = np.frombuffer(data, dtype=np.int8)
    rows -= rows.mean(axis=1, keepdims=True)
    sizes = np.sqrt(np.einsum("ij,ij->i", rows, rows))[:, None]
    return np.divide(rows, sizes, out=rows, where=sizes > 0)
