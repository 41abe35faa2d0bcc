"""The joint posterior of a sweep: one target, one lens and one patch centre, seen at several apertures.

What all frames share (target, light, natural falloff) cancels between them; mechanical vignetting fades with the
f-number; the patch grows, levels off, or stays alike: samples of all three compete, so that a lens that is hot
at every stop keeps its patch.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from registry.photometry.baseline import Kind
from registry.photometry.centre import drift_columns
from registry.photometry.fitting import NOISE_FACTOR, TEMPERING, FrameFit
from registry.photometry.patches import COARSE_SCALES, COARSE_SIZE_BOUNDS, PatchSamples, sample_patches
from registry.photometry.posterior import (
    Terms,
    likeliest,
    patch_posterior,
    without_falloff,
    without_nuisances,
)
from registry.photometry.stacking import Stack

COMMON_FIELD_EV = 0.01
"""Structure of target and sensor that all frames share, per pixel: only differences between frames are sharp."""

FRAME_MODEL_ERROR_EV = 0.001
OWN_TILT_EV = 0.03
OWN_SHARE = 0.25
"""What each frame has of its own: tilt as lamps settle, and a share of the target's other low orders."""

SCALES = ((0.04, 0.12), (0.15, 0.1), (0.5, 0.12), (0.5, 0.03))
PATCHES_DRAWN = 1500
MOST_BASELINES = 60
LOG_ODDS_OF_A_PATCH = 3.0
CENTRE_UNCERTAINTY = 0.006


@lru_cache(maxsize=16)
def _patches(f_numbers: tuple[float, ...]) -> tuple[PatchSamples, ...]:
    return sample_patches(f_numbers, PATCHES_DRAWN, np.random.default_rng(15), SCALES)


@lru_cache(maxsize=16)
def _few(f_numbers: tuple[float, ...]) -> tuple[PatchSamples, ...]:
    return sample_patches(f_numbers, 80, np.random.default_rng(16), COARSE_SCALES, COARSE_SIZE_BOUNDS)


def joint_terms(fits: Sequence[FrameFit], f_numbers: tuple[float, ...], kinds: tuple[Kind, ...]) -> Terms:
    """The posterior of all frames' patches, around the centre of the first fit.

    fits: one for each aperture, on one grid, all with the same centre; f_numbers: ascending, as the kinds have.
    """
    columns, count = fits[0].columns, len(fits)
    stack = Stack(columns, np.stack([fit.field for fit in fits]))
    drift = drift_columns(columns, fits[0].found.shape)
    sums = stack.sums(fits[0].nodes, drift, _weights(fits))
    strength = max(max(fit.found.strength for fit in fits), 0.01)
    reduced = without_nuisances(sums, _nuisance_factor(columns.nuisance_sd, strength, count))
    by_kind = without_falloff(reduced, kinds)
    by_kind, log_none = likeliest(by_kind, _few(f_numbers), MOST_BASELINES)
    return patch_posterior(by_kind, log_none, _patches(f_numbers), LOG_ODDS_OF_A_PATCH)


def _weights(fits):
    """Precision between frames: each its own noise, and a field per pixel that all share."""
    own = [NOISE_FACTOR * fit.frame.noise**2 + TEMPERING * FRAME_MODEL_ERROR_EV**2 for fit in fits]
    return np.linalg.inv(np.diag(own) + COMMON_FIELD_EV**2 * TEMPERING / 10)


def _nuisance_factor(nuisance_sd, strength, count):
    """Factor of the stacked nuisances' prior covariance: a shared part, and each frame's own."""
    shared = np.concatenate([[CENTRE_UNCERTAINTY * strength] * 2, nuisance_sd])
    own = OWN_SHARE * shared
    shared[2] = 0.0
    own[2], own[3:5] = nuisance_sd[0], OWN_TILT_EV
    return np.hstack([np.tile(np.diag(shared), (count, 1)), np.kron(np.eye(count), np.diag(own))])
