"""Where a patch would be: a coarse search over centres and radii, then a few Gauss-Newton steps."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from registry.photometry.baseline import Columns, columns_on
from registry.photometry.patches import FURTHEST
from registry.photometry.posterior import log_sum, solve_ridge

CENTRE_SD = 0.05
"""Patches lie near the optical axis: prior standard deviation of each coordinate."""

STEPS = np.linspace(-0.12, 0.12, 7)
RADII = np.array([0.055, 0.08, 0.115, 0.165, 0.24, 0.34])
STRENGTH_EV = 0.2
EXPONENT = 2.5


@dataclass(frozen=True, eq=False)
class Candidates:
    """Templates at coarse centres and radii, (pixels, candidates), and their products with the fixed columns."""

    centres: np.ndarray
    radii: np.ndarray
    templates: np.ndarray
    squares: np.ndarray
    with_fixed: np.ndarray
    log_prior: np.ndarray


@lru_cache(maxsize=16)
def candidates_on(height: int, width: int) -> Candidates:
    columns = columns_on(height, width)
    across, down, radius = (part.ravel() for part in np.meshgrid(STEPS, STEPS, RADII, indexing="ij"))
    templates = np.stack(
        [_template(columns, (a, d), r) for a, d, r in zip(across, down, radius, strict=True)], axis=1
    )
    centres = np.column_stack([across, down])
    log_prior = -(centres**2).sum(1) / (2 * CENTRE_SD**2)
    return Candidates(
        centres,
        radius,
        templates.astype(np.float32),
        (templates**2).sum(0),
        templates.T @ columns.both,
        log_prior - log_sum(log_prior),
    )


def _template(columns, centre, radius):
    squared = (columns.grid.x - centre[0]) ** 2 + (columns.grid.y - centre[1]) ** 2
    return np.exp(-np.log(2) * (squared / radius**2) ** (EXPONENT / 2)) * columns.root_weight


LEAST_LOG_ODDS = -2.0
"""The search is by a coarser model, which may be too sure of a broad patch's centre: Occam's price is capped."""

ROUNDING = 1e-5
"""Inner products in single precision are sure to about this share; a strong patch's shape would else seem known better
than exactly, and its equations have no answer."""

GAUSS_NEWTON_STEPS = 5
LARGEST_STEP = np.array([0.03, 0.03, 0.3, 0.4])
SMALLEST_STEP = np.array([1e-4, 1e-4, 1e-3, 3e-3])


@dataclass(frozen=True)
class Shape:
    """A patch exp(-ln 2 (r/radius)^exponent) centred at (x, y)."""

    x: float
    y: float
    radius: float
    exponent: float

    @property
    def vector(self) -> np.ndarray:
        return np.array([self.x, self.y, np.log(self.radius), np.log(self.exponent)])

    def moved(self, step: np.ndarray) -> Shape:
        x, y, radius, exponent = self.vector + step
        return Shape(
            float(np.clip(x, -FURTHEST, FURTHEST)),
            float(np.clip(y, -FURTHEST, FURTHEST)),
            float(np.clip(np.exp(radius), 0.04, 0.45)),
            float(np.clip(np.exp(exponent), 1.2, 9)),
        )


@dataclass(frozen=True)
class Found:
    """The likeliest shape, its strength in EV, and the log odds that remain of the prior for centres (≤ 0)."""

    shape: Shape
    strength: float
    log_odds: float


@dataclass(frozen=True, eq=False)
class Cleared:
    """A frame with its fixed columns integrated out, ready to be searched for a patch.

    left: what the columns don't explain (pixels,). spread: W with variance · W Wᵀ the columns' posterior covariance.
    variance: working variance per pixel.
    """

    left: np.ndarray
    spread: np.ndarray
    variance: float


def find_centre(columns: Columns, cleared: Cleared) -> Found:
    """Search one frame."""
    candidates = candidates_on(columns.grid.height, columns.grid.width)
    variance, left = cleared.variance, cleared.left.astype(np.float32)
    score = (candidates.templates.T @ left).astype(float) / variance
    shared = candidates.with_fixed @ cleared.spread
    information = (candidates.squares - np.einsum("ij,ij->i", shared, shared)) / variance
    spread = information + STRENGTH_EV**-2
    log_evidence = candidates.log_prior + score * np.abs(score) / spread / 2
    log_evidence -= np.log(spread * STRENGTH_EV**2) / 2
    best = int(np.argmax(log_evidence))
    log_share = float(log_sum(log_evidence) - (log_evidence - candidates.log_prior)[best])
    # The evidence at the refined centre stands for its cell; the other cells' share is Occam's price.
    log_odds = float(np.clip(log_share, LEAST_LOG_ODDS, 0.0))
    if score[best] <= 0:
        return Found(Shape(0.0, 0.0, 0.15, EXPONENT), 0.0, log_odds)
    coarse = Shape(*candidates.centres[best], candidates.radii[best], EXPONENT)
    shape, strength = _refine(columns, left, cleared, coarse)
    return Found(shape, strength, log_odds)


def _refine(columns, left, cleared, shape):
    """Gauss-Newton in centre, log radius and exponent, strength free, fixed columns integrated out."""
    fixed, prior_sd = columns.both_single, np.array([CENTRE_SD, CENTRE_SD, 0.6, 0.8])
    start = shape.vector
    for _ in range(GAUSS_NEWTON_STEPS):
        design = linearised(columns, shape)
        shared = (design @ fixed) @ cleared.spread
        own = design @ design.T
        gram = (own - shared @ shared.T) / cleared.variance
        right = (design @ left).astype(float) / cleared.variance
        strength = max(right[0] / max(gram[0, 0], 1e-9), 2e-3)
        # Unknowns: strength, then strength × shift. The prior keeps shifts small and the centre central.
        precision = np.concatenate([[1e-6], (prior_sd * strength) ** -2])
        precision += ROUNDING * own.diagonal() / cleared.variance
        home = np.concatenate([[0, 0], start[2:]]) - shape.vector
        pull = np.concatenate([[0], home / (prior_sd**2 * strength)])
        answer = solve_ridge(gram + np.diag(precision), right + pull)
        step = np.clip(answer[1:] / max(answer[0], 2e-3), -LARGEST_STEP, LARGEST_STEP)
        shape = shape.moved(step)
        if np.all(np.abs(step) < SMALLEST_STEP):
            break
    return shape, max(float(answer[0]), 0.0)


def linearised(columns: Columns, shape: Shape) -> np.ndarray:
    """Template and its derivatives by centre, log radius and log exponent, (5, pixels), single precision."""
    x, y = columns.grid.single
    dx, dy = x - np.float32(shape.x), y - np.float32(shape.y)
    squared = np.maximum(dx * dx + dy * dy, np.float32(1e-9))
    log_scaled = np.log(squared / np.float32(shape.radius**2))
    scaled = np.exp(log_scaled * np.float32(shape.exponent / 2))
    rows = np.empty((5, len(x)), dtype=np.float32)
    template, by_x, by_y, fall, by_exponent = rows
    np.exp(scaled * np.float32(-np.log(2)), out=template)
    template *= columns.root_weight_single
    np.multiply(template, scaled, out=fall)
    fall *= np.float32(np.log(2) * shape.exponent)
    inward = fall / squared
    np.multiply(inward, dx, out=by_x)
    np.multiply(inward, dy, out=by_y)
    np.multiply(fall, log_scaled, out=by_exponent)
    by_exponent /= -2
    return rows


def drift_columns(columns: Columns, shape: Shape) -> np.ndarray:
    """How a patch of this shape changes with its centre, (pixels, 2)."""
    return linearised(columns, shape)[1:3].T.astype(float)
