"""A first, flexible fit of one frame: where a patch would be, what is left over, and with that the noise to use.

The working variance is the pixel noise, plus the model's error times TEMPERING: neighbouring pixels err together
where a model of falloff, target and patch isn't quite true, and this makes intervals honest.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.linalg import eigh
from scipy.sparse import csr_matrix

from registry.photometry.baseline import Columns, Kind, columns_on
from registry.photometry.centre import Cleared, Found, find_centre
from registry.photometry.gates import FitQuality
from registry.photometry.luminance import LogFrame
from registry.photometry.patches import NODES
from registry.photometry.posterior import solve_ridge
from registry.photometry.stacking import node_columns

TEMPERING = 60.0
MODEL_ERROR_EV = 0.0025
NOISE_FACTOR = 2.0
LEFT_SHARE = 0.3
"""The model's error is at least MODEL_ERROR_EV, and more by what the fit leaves beyond the pixel noise."""

OUTLIER_LIMIT = 4.0
OUTLIER_SHARE = 1.0
"""Residuals beyond so many standard deviations (dust, hairs, hot pixels), and this share of the patch there, are pulled
in: this first fit is too stiff for a strong patch and would else cut its top off."""


@dataclass(frozen=True, eq=False)
class FrameFit:
    """A frame ready for its posterior.

    field: log2 luminance times columns.root_weight, outliers pulled in, (pixels,). kinds: its falloff prior.
    variance: working variance per pixel. found: the patch's place.
    """

    frame: LogFrame
    columns: Columns
    kinds: tuple[Kind, ...]
    field: np.ndarray
    variance: float
    found: Found
    quality: FitQuality

    @property
    def centre(self) -> tuple[float, float]:
        return self.found.shape.x, self.found.shape.y

    @cached_property
    def nodes(self) -> csr_matrix:
        """The columns of a central profile, (pixels, len(NODES))."""
        return node_columns(self.columns, self.centre)


def fit_frame(frame: LogFrame, kinds: tuple[Kind, ...]) -> FrameFit:
    columns = columns_on(*frame.shape)
    field = (frame.luminance - np.median(frame.luminance)).ravel() * columns.root_weight
    prior = fixed_prior(columns, kinds)
    variance = working_variance(frame.noise)
    found = prior.find(field, variance)
    nodes = ProfileColumns(prior, (found.shape.x, found.shape.y))
    for _ in range(2):
        flexible = _Flexible(prior, nodes, field, variance)
        field, residual = flexible.without_outliers(frame.noise)
        left = float(np.sqrt(np.mean(residual**2)))
        variance = working_variance(frame.noise, left)
    found = prior.find(field, variance)
    return FrameFit(
        frame, columns, kinds, field, variance, found, flexible.quality(residual, found, frame.noise)
    )


def working_variance(noise: float, left: float = 0.0) -> float:
    """Variance per pixel in EV²; left: root mean square of the fit's residual."""
    beyond_noise = max(left**2 - noise**2, 0.0)
    return NOISE_FACTOR * noise**2 + TEMPERING * (MODEL_ERROR_EV**2 + LEFT_SHARE * beyond_noise)


class FixedPrior:
    """One normal prior for all fixed columns together, to search and to fit flexibly with.

    directions: U with Uᵀ precision U = 1 and Uᵀ gram U = diag(spectrum), so that the posterior for any variance v
    per pixel is U diag(1 / (spectrum + v)) Uᵀ, without another inversion.
    """

    def __init__(self, columns: Columns, kinds: tuple[Kind, ...]):
        self.columns = columns
        mean, precision = _moments(kinds)
        self.mean_field = columns.falloffs @ mean
        count = columns.nuisances.shape[1]
        self.precision = np.zeros((count + len(mean),) * 2)
        self.precision[:count, :count] = np.diag(columns.nuisance_sd**-2.0)
        self.precision[count:, count:] = precision
        self.gram = columns.gram
        self.spectrum, self.directions = eigh(self.gram, self.precision)

    def find(self, field: np.ndarray, variance: float) -> Found:
        centred = field - self.mean_field
        spread = self.directions / np.sqrt(self.spectrum + variance)
        explained = self.columns.both @ (spread @ (spread.T @ (centred @ self.columns.both)))
        return find_centre(self.columns, Cleared(centred - explained, spread, variance))


@lru_cache(maxsize=64)
def fixed_prior(columns: Columns, kinds: tuple[Kind, ...]) -> FixedPrior:
    return FixedPrior(columns, kinds)


def _moments(kinds):
    means = np.concatenate([kind.means for kind in kinds])
    covariance = np.cov(means.T) + 1e-8 * np.eye(means.shape[1])
    return means.mean(axis=0), np.linalg.inv(covariance)


@lru_cache(maxsize=1)
def broad_patch_precision() -> np.ndarray:
    """A broad normal prior for any smooth central profile: the inverse of its covariance in EV² between nodes."""
    steps = np.arange(len(NODES))
    fade = 0.3 * np.exp(-((NODES / 0.5) ** 2))
    near = np.exp(-0.5 * ((steps[:, None] - steps) / 2) ** 2)
    return np.linalg.inv(near * np.outer(fade, fade) + 1e-8 * np.eye(len(NODES)))


class ProfileColumns:
    """The columns of any central profile around one centre, and their products with themselves and the fixed ones."""

    def __init__(self, prior: FixedPrior, centre: tuple[float, float]):
        self.nodes = node_columns(prior.columns, centre)
        self.across = self.nodes.T.tocsr()
        self.with_fixed = self.across @ prior.columns.both
        self.gram = (self.across @ self.nodes).toarray()


class _Flexible:
    """The fit of fixed columns and any central profile, by ridge regression."""

    def __init__(self, prior: FixedPrior, profile: ProfileColumns, field: np.ndarray, variance: float):
        fixed, centred = prior.columns.both, field - prior.mean_field
        cross = profile.with_fixed
        patch = profile.gram + broad_patch_precision() * variance
        gram = np.block([[prior.gram + prior.precision * variance, cross.T], [cross, patch]])
        answer = solve_ridge(gram, np.concatenate([centred @ fixed, profile.across @ centred]))
        self.fixed_part, self.patch_part = np.split(answer, [fixed.shape[1]])
        self.patch = profile.nodes @ self.patch_part
        self.residual = centred - fixed @ self.fixed_part - self.patch
        self.columns, self.field = prior.columns, field

    def without_outliers(self, noise: float) -> tuple[np.ndarray, np.ndarray]:
        limit = self._far(noise) + OUTLIER_SHARE * np.abs(self.patch)
        residual = np.clip(self.residual, -limit, limit)
        return self.field - self.residual + residual, residual

    def _far(self, noise: float) -> float:
        """How far in EV a residual may lie before it is an outlier."""
        return OUTLIER_LIMIT * max(float(np.median(np.abs(self.residual))) / 0.6745, 0.7 * noise)

    def quality(self, residual: np.ndarray, found: Found, noise: float) -> FitQuality:
        far = self._far(noise)
        residual = np.clip(residual, -far, far)  # what this stiff fit leaves of a hard edge is no texture
        grid, columns = self.columns.grid, self.columns
        light = self.fixed_part[: columns.nuisances.shape[1]]
        broad = columns.nuisances[:, columns.broad] @ light[columns.broad]
        beyond = np.hypot(grid.x - found.shape.x, grid.y - found.shape.y) > 1.6 * found.shape.radius
        return FitQuality(
            residual=float(np.sqrt(np.mean(residual**2))),
            outside=float(np.sqrt(np.mean(residual[beyond] ** 2))),
            tilt=float(np.hypot(light[1], light[2])),
            broad=float(np.sqrt(np.mean(broad**2))),
            unevenness=float(np.sqrt(np.mean((light[3:] / columns.nuisance_sd[3:]) ** 2))),
            strength=found.strength,
            offset=max(abs(found.shape.x), abs(found.shape.y)),
            noise=noise,
        )
