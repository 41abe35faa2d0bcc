"""What is published of a posterior: chances per stop with bands, the limit's interval, expected information."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import ndtr, xlogy

from registry.consensus.constants import BAND_TAIL, READERS_STOPS_AV, SPREADS
from registry.consensus.grid import EDGES, GRID, GRID_POINTS, SPREAD_COUNT

LEVELS = np.array(
    "0 .005 .02 .05 .1 .15 .2 .25 .3 .35 .4 .5 .6 .65 .7 .75 .8 .85 .9 .95 .98 .995 1".split(), dtype=float
)
"""Chances at which the posterior of a chance is summed; bands are interpolated between them."""


@lru_cache(maxsize=64)
def _clean_chances(avs: tuple[float, ...]) -> np.ndarray:
    spread = np.repeat(SPREADS, GRID_POINTS)[:, None]
    return ndtr((np.tile(GRID, SPREAD_COUNT)[:, None] - np.array(avs)) / spread)


def clean_chances(avs: np.ndarray) -> np.ndarray:
    """P(a new independent test is clean at Av | spread, limit) = 1 − Φ((Av − μ)/s), shape (spreads × G, V)."""
    return _clean_chances(tuple(np.asarray(avs, dtype=float).tolist()))


@lru_cache(maxsize=64)
def _below_levels(avs: tuple[float, ...]) -> np.ndarray:
    chances = clean_chances(np.array(avs))
    below = chances[:, :, None] < LEVELS[1:-1]
    # Where the atoms are few, half of those on a level's own side of the next grid point would jump;
    # a linear ramp over the bin's width in chance keeps bands smooth.
    step = np.abs(np.gradient(chances.reshape(SPREAD_COUNT, GRID_POINTS, -1), axis=1)).reshape(chances.shape)
    ramp = (LEVELS[1:-1] - chances[:, :, None]) / np.maximum(step[:, :, None], 1e-9) + 0.5
    return (
        np.where(step[:, :, None] > 1e-6, np.clip(ramp, 0, 1), below)
        .reshape(len(chances), -1)
        .astype(np.float32)
    )


def chances(posterior: np.ndarray, avs: np.ndarray) -> np.ndarray:
    """P(N) = E[1 − Φ((Av − μ)/s)], shape (cells, V), never rising with the f-number."""
    return np.minimum.accumulate(posterior @ clean_chances(avs).astype(posterior.dtype), axis=1)


def chance_bands(posterior: np.ndarray, avs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the 90 % band of the chance at every stop, each (cells, V)."""
    key = tuple(np.asarray(avs, dtype=float).tolist())
    # Single precision is finer than the steps between LEVELS, and the table is read twice as fast.
    mass = (posterior.astype(np.float32) @ _below_levels(key)).reshape(
        len(posterior), len(key), len(LEVELS) - 2
    )
    edge = np.zeros((*mass.shape[:2], 1), dtype=mass.dtype)
    mass = np.concatenate([edge, mass, edge + 1], axis=2)
    return _level_where(mass, BAND_TAIL), _level_where(mass, 1 - BAND_TAIL)


def _level_where(mass: np.ndarray, wanted: float) -> np.ndarray:
    """Chance below which the wanted mass lies, by linear interpolation between LEVELS."""
    upper = np.maximum(np.argmax(mass >= wanted, axis=2), 1)
    cell, stop = np.arange(mass.shape[0])[:, None], np.arange(mass.shape[1])
    below, above = mass[cell, stop, upper - 1], mass[cell, stop, upper]
    part = np.clip((wanted - below) / np.maximum(above - below, 1e-12), 0, 1)
    return LEVELS[upper - 1] + part * (LEVELS[upper] - LEVELS[upper - 1])


def limit_quantiles(posterior: np.ndarray, levels: tuple[float, ...] = (0.05, 0.5, 0.95)) -> np.ndarray:
    """Quantiles (Av) of the limit, its density taken as even within a bin; shape (cells, levels)."""
    marginal = posterior.reshape(len(posterior), SPREAD_COUNT, GRID_POINTS).sum(axis=1, dtype=float)
    cumulative = np.cumsum(marginal, axis=1)
    cumulative /= cumulative[:, -1:]
    wanted = np.array(levels)
    cell = np.arange(len(posterior))[:, None]
    bin_ = (cumulative[:, :, None] >= wanted).argmax(axis=1)
    mass, above = marginal[cell, bin_], cumulative[cell, bin_]
    part = 1 - np.clip((above - wanted) / np.maximum(mass, 1e-300), 0, 1)
    return EDGES[bin_] + part * (EDGES[1] - EDGES[0])


@lru_cache(maxsize=2)
def _outcome_tables(dtype: str) -> tuple[np.ndarray, np.ndarray]:
    """P(outcome | spread, limit), and the same times each chance: (S·G, O) and (S·G, O × stops).

    The outcomes of one more report of the typical kind are the full stops its limit falls between.
    """
    bounds = clean_chances(np.arange(1.0, 11.0))
    full = np.hstack([np.ones((len(bounds), 1)), bounds, np.zeros((len(bounds), 1))])
    outcomes = full[:, :-1] - full[:, 1:]
    joint = outcomes[:, :, None] * clean_chances(np.array(READERS_STOPS_AV))[:, None, :]
    return outcomes.astype(dtype), joint.reshape(len(joint), -1).astype(dtype)


def expected_information(posterior: np.ndarray) -> np.ndarray:
    """Expected drop in entropy, in bits summed over the stops that readers use, by one more report; (cells,)."""
    outcomes, joint = _outcome_tables(posterior.dtype.name)
    now = posterior @ clean_chances(np.array(READERS_STOPS_AV)).astype(posterior.dtype)
    odds = np.maximum(posterior @ outcomes, 1e-12)
    then = (posterior @ joint).reshape(*odds.shape, len(READERS_STOPS_AV)) / odds[:, :, None]
    expected = (odds[:, :, None] * entropy_bits(then)).sum(axis=1)
    return np.maximum((entropy_bits(now) - expected).sum(axis=1), 0.0)


def entropy_bits(chance: np.ndarray) -> np.ndarray:
    """Entropy of a yes-or-no event, in bits."""
    chance = np.clip(chance, 0.0, 1.0)
    return -(xlogy(chance, chance) + xlogy(1 - chance, 1 - chance)) / np.log(2)
