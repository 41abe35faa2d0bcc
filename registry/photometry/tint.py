"""The patch's colour against its surroundings: log2(R/G) and log2(B/G) above a smooth fit."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from registry.photometry.baseline import columns_on
from registry.photometry.fitting import FrameFit, working_variance
from registry.photometry.luminance import SMALLEST_NOISE, noise_of
from registry.photometry.patches import disc_weights

QUOTED_FROM_EV = 0.07
TINT_SD = 0.5
SHADING_SD = np.array([10, 0.15, 0.15, 0.15, 0.05, 0.05, 0.05])
"""Prior sd of colour shading over the frame: level, x, y, r², x²-y², 2xy, r⁴."""


@lru_cache(maxsize=16)
def _shading_on(height: int, width: int) -> tuple[np.ndarray, np.ndarray]:
    """Columns of the shading times root_weight, (pixels, 7), and their inner products."""
    columns = columns_on(height, width)
    x, y = columns.grid.x, columns.grid.y
    squared = x**2 + y**2
    shading = np.stack([np.ones_like(x), x, y, squared, x**2 - y**2, 2 * x * y, squared**2], axis=1)
    shading *= columns.root_weight[:, None]
    return shading, shading.T @ shading


def tints(fit: FrameFit, profile_ev: np.ndarray, ev: float) -> tuple[float | None, float | None]:
    """Tints at the patch's centre, or None where its excess is too small to quote one.

    profile_ev: the patch's excess over the nodes; the tint is taken to have its shape.
    """
    peak = float(profile_ev.max())
    if max(ev, peak) < QUOTED_FROM_EV:
        return None, None
    shading, squares = _shading_on(*fit.frame.shape)
    patch = fit.nodes @ (profile_ev / peak)
    cross = shading.T @ patch
    gram = np.block([[squares, cross[:, None]], [cross, patch @ patch]])
    precision = np.diag(np.append(SHADING_SD, TINT_SD) ** -2.0)
    at_centre = float(disc_weights() @ profile_ev / peak)

    def tint(ratio):
        field = (ratio - np.median(ratio)).ravel() * fit.columns.root_weight
        variance = working_variance(max(noise_of(ratio), SMALLEST_NOISE))
        right = np.append(field @ shading, field @ patch)
        return float(np.linalg.solve(gram + precision * variance, right)[-1]) * at_centre

    return tint(fit.frame.red_green), tint(fit.frame.blue_green)
