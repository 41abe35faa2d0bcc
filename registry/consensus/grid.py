"""The grid of aperture values on which limits live, and the normal kernels that blur along it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from registry.consensus.constants import (
    GRID_FROM_AV,
    GRID_POINTS,
    GRID_STEP_AV,
    SHARED_SHARE,
    SPREADS,
)

GRID = GRID_FROM_AV + GRID_STEP_AV * (np.arange(GRID_POINTS) + 0.5)
"""Centres of the bins, Av, shape (GRID_POINTS,); the marked third and half stops are edges."""

NEGLIGIBLE = 1e-18
"""Probabilities below this are 0: far below every stray share, and processors crawl on denormal numbers."""

EDGES = GRID_FROM_AV + GRID_STEP_AV * np.arange(GRID_POINTS + 1)
SPREAD_COUNT = len(SPREADS)


def first_bin(av: np.ndarray) -> np.ndarray:
    """Index of the first bin whose centre is at or beyond an Av (0 … GRID_POINTS)."""
    return np.clip(np.ceil((av - GRID[0]) / GRID_STEP_AV - 1e-9), 0, GRID_POINTS).astype(np.intp)


@lru_cache(maxsize=256)
def kernel(sd: float, offset: float = 0.0) -> np.ndarray:
    """K[i, j] = P(limit in bin j | normal around GRID[i] + offset), shape (GRID_POINTS, GRID_POINTS).

    The end bins take the tails.
    """
    upper = ndtr((EDGES[None, 1:-1] - GRID[:, None] - offset) / max(sd, 1e-6))
    cumulative = np.hstack([np.zeros((GRID_POINTS, 1)), upper, np.ones((GRID_POINTS, 1))])
    matrix = np.diff(cumulative, axis=1)
    matrix[matrix < NEGLIGIBLE] = 0.0
    return matrix


@lru_cache(maxsize=4)
def single_kernels(dtype: str) -> np.ndarray:
    """Kernels of every spread side by side, transposed: likelihoods (n, G) @ this → (n, spreads × G)."""
    return np.hstack([kernel(spread).T for spread in SPREADS]).astype(dtype)


@lru_cache(maxsize=4)
def within_kernels(dtype: str) -> np.ndarray:
    """As single_kernels, for the part of the spread that reports of one cluster don't share."""
    return np.hstack([kernel(spread * (1 - SHARED_SHARE) ** 0.5).T for spread in SPREADS]).astype(dtype)


@lru_cache(maxsize=4)
def shared_kernels(dtype: str) -> np.ndarray:
    """Kernels of the part that they share, transposed, shape (spreads, G, G)."""
    return np.stack([kernel(spread * SHARED_SHARE**0.5).T for spread in SPREADS]).astype(dtype)


def cell_kernel(spread: float, offset: float = 0.0) -> np.ndarray:
    """T[m, μ] = P(cell's limit μ | lens's limit m), with the band's offset."""
    return kernel(spread, round(offset, 6))
