"""Area averages: a frame's light on a coarse grid, and what only the fine grid shows."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

MEASURED_LONG_SIDE = 96
_DETAIL_LONG_SIDE = 384


def area_average(values: np.ndarray, long_side: int = MEASURED_LONG_SIDE) -> np.ndarray:
    """Average (height, width, 3) over the cells of a grid with the given long side; float32.

    Cells that cut a pixel take their share of it. A frame that is smaller already comes back as it is.
    """
    height, width = values.shape[:2]
    scale = long_side / max(height, width)
    if scale >= 1:
        return values.astype(np.float32)
    rows, columns = (max(1, round(length * scale)) for length in (height, width))
    by_rows = _average_rows(values.astype(np.float32, copy=False), rows)
    by_columns = _average_rows(np.ascontiguousarray(by_rows.swapaxes(0, 1)), columns)
    return np.ascontiguousarray(by_columns.swapaxes(0, 1))


def _average_rows(values: np.ndarray, cells: int) -> np.ndarray:
    """Average along the first axis over equal cells: whole rows, and the cut rows by their shares.

    Plain sums in a fixed order rather than a matrix product, whose last bit depends on the machine's mood.
    """
    length = len(values)
    edges = np.linspace(0, length, cells + 1)
    whole = np.minimum(edges.astype(int), length - 1)
    shares = (edges - whole).astype(np.float32).reshape(-1, *[1] * (values.ndim - 1))
    cut = values[whole] * shares
    # Row by row: NumPy's reduceat gives the same sums in seven times the time.
    sums = np.stack([np.add.reduce(values[start:end]) for start, end in pairwise(whole)])
    return (sums - cut[:-1] + cut[1:]) * np.float32(cells / length)


def block_mean(values: np.ndarray, size: int) -> np.ndarray:
    """Mean over size × size blocks of (height, width, ...); what doesn't fill a block is cut off evenly."""
    if size == 1:
        return values.astype(np.float32)
    height, width = (length // size * size for length in values.shape[:2])
    top, left = (values.shape[0] - height) // 2, (values.shape[1] - width) // 2
    whole = values[top : top + height, left : left + width]
    rows = sum(whole[offset::size].astype(np.float32) for offset in range(size))
    return sum(rows[:, offset::size] for offset in range(size)) / np.float32(size * size)


def fine_detail(luminance: np.ndarray) -> float | None:
    """Root-mean-square structure of the finest scale in log2 units, beyond what white noise explains.

    luminance: linear, (height, width). White noise loses half its standard deviation when 2 × 2 pixels are
    averaged; structure doesn't. So the diagonal second difference is taken at two scales, and what the
    coarser one holds beyond a quarter of the finer one's variance is structure. None below 192 pixels.
    """
    long_side = max(luminance.shape)
    if long_side < _DETAIL_LONG_SIDE // 2 or min(luminance.shape) < 8:
        return None
    fine = block_mean(luminance, max(1, round(long_side / _DETAIL_LONG_SIDE)))
    floor = max(float(fine.mean()) / 64, 1e-6)
    fine_variance, coarse_variance = (
        _difference_variance(np.log2(np.maximum(grid, floor))) for grid in (fine, block_mean(fine, 2))
    )
    return round(float(np.sqrt(max(0.0, coarse_variance - fine_variance / 4))), 6)


def _difference_variance(grid: np.ndarray) -> float:
    """Variance of white noise that would give this mean square of the diagonal second difference."""
    across = grid[:, 1:] - grid[:, :-1]
    return float(np.mean((across[1:] - across[:-1]) ** 2, dtype=np.float64) / 4)
