"""The two distributions that a catalogue teaches: of lenses' limits, and of the spread between tests.

Each is a curve of few figures, which a small catalogue moves already, and on top of it whatever form the
catalogue itself shows, which takes a large one: a mixture of the curve, as so many lenses, with what the lenses say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from registry.consensus.beliefs import Priors, log_normal_spreads, normal_limits
from registry.consensus.constants import (
    BASE_LENSES,
    LIMIT_BASE_LENSES,
    LIMIT_SPREAD_AV,
    LIMIT_UNIFORM_SHARE,
    PRIOR_SMOOTHING_AV,
    SETTLING_PASSES,
    SPREAD_BASE_LENSES,
    SPREAD_LOG_SD,
    SPREAD_MEDIAN,
    SPREADS,
)
from registry.consensus.grid import GRID, GRID_POINTS, kernel
from registry.consensus.pooling import TINY, LensBeliefs

LOG_SPREADS = np.log(np.array(SPREADS))


@dataclass(frozen=True)
class LimitCurve:
    """Normal limits (Av) and a uniform share of odd ones. held_at: the mean before any catalogue."""

    held_at: float
    mean: float
    sd: float = LIMIT_SPREAD_AV
    odd: float = LIMIT_UNIFORM_SHARE

    @property
    def masses(self) -> np.ndarray:
        return (1 - self.odd) * normal_limits(self.mean, self.sd) + self.odd / GRID_POINTS

    def taught(self, counts: np.ndarray) -> LimitCurve:
        """Nearer to lenses counted on the grid, (G,): one step of expectation-maximisation."""
        held = LIMIT_BASE_LENSES
        odd = counts * (self.odd / GRID_POINTS) / self.masses
        usual = counts - odd
        total = held + usual.sum()
        mean = (held * self.held_at + usual @ GRID) / total
        variance = (held * LIMIT_SPREAD_AV**2 + usual @ (GRID - mean) ** 2) / total
        share = (held * LIMIT_UNIFORM_SHARE + odd.sum()) / (held + counts.sum())
        return LimitCurve(self.held_at, float(mean), float(np.sqrt(variance)), float(share))


@dataclass(frozen=True)
class SpreadCurve:
    """Log-normal spreads."""

    median: float = SPREAD_MEDIAN
    log_sd: float = SPREAD_LOG_SD

    @property
    def masses(self) -> np.ndarray:
        return log_normal_spreads(self.median, self.log_sd)

    def taught(self, counts: np.ndarray) -> SpreadCurve:
        """Nearer to lenses counted on SPREADS, (spreads,)."""
        held = SPREAD_BASE_LENSES
        total = held + counts.sum()
        mean = (held * np.log(SPREAD_MEDIAN) + counts @ LOG_SPREADS) / total
        variance = (held * SPREAD_LOG_SD**2 + counts @ (LOG_SPREADS - mean) ** 2) / total
        return SpreadCurve(float(np.exp(mean)), float(np.sqrt(variance)))


def settle(beliefs: LensBeliefs, priors: Priors, held_at: float) -> tuple[np.ndarray, np.ndarray]:
    """Probabilities of limits (G,) and of spreads (spreads,) that the lenses' likelihoods teach, by
    expectation-maximisation from the priors. held_at: mean of the limits before any catalogue, Av.

    A lens that one voice speaks of teaches no spread: how far tests scatter and how far lenses do would be one
    figure there, and the learner would take the one for the other.
    """
    flat = beliefs.likelihood.reshape(-1, GRID_POINTS)
    limits, spreads = np.array(priors.limits), np.array(priors.spreads)
    limit_curve, spread_curve = LimitCurve(held_at, held_at), SpreadCurve()
    smooth = kernel(PRIOR_SMOOTHING_AV)
    for _ in range(SETTLING_PASSES):
        by_spread = (flat @ limits).reshape(-1, len(SPREADS))
        share = beliefs.weight / (by_spread @ spreads + TINY)
        limit_counts = limits * (np.outer(share, spreads).ravel() @ flat)
        spread_counts = spreads * (np.where(beliefs.several, share, 0.0) @ by_spread)
        limit_curve, spread_curve = limit_curve.taught(limit_counts), spread_curve.taught(spread_counts)
        limits = _mixed(limit_curve.masses, limit_counts @ smooth)
        spreads = _mixed(spread_curve.masses, spread_counts)
    return limits, spreads


def _mixed(curve: np.ndarray, counts: np.ndarray) -> np.ndarray:
    mixed = BASE_LENSES * curve + counts
    return mixed / mixed.sum()
