"""Published numbers against brute force over the same posterior, and what another report is worth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from registry.consensus.arrays import arrays_of
from registry.consensus.assessment import assess_arrays, assess_fast
from registry.consensus.chances import (
    chance_bands,
    chances,
    entropy_bits,
    expected_information,
    limit_quantiles,
)
from registry.consensus.constants import SPREADS
from registry.consensus.grid import GRID, GRID_POINTS
from tests.consensus.makers import PRIME, ZOOM, agreeing, claim, measured, only_cell, sweep

AVS = np.array([2.0, 4.0, 6.0, 8.0])


def _posterior(reports) -> np.ndarray:
    return assess_arrays(arrays_of([(PRIME, reports)])).pooled.posterior


def test_the_chance_is_the_mean_over_limits_and_spreads():
    posterior = _posterior(agreeing(3, 8))
    limits, spreads = np.tile(GRID, len(SPREADS)), np.repeat(SPREADS, GRID_POINTS)
    by_hand = [float(posterior[0] @ norm.sf((av - limits) / spreads)) for av in AVS]
    assert chances(posterior, AVS)[0] == pytest.approx(by_hand, abs=1e-12)


def test_bands_hold_ninety_per_cent_of_the_posterior_of_the_chance():
    for reports in (agreeing(2, 8), [*agreeing(3, 5.6), sweep("x", 11)], [claim(0, "clean_to", 4)]):
        posterior = _posterior(reports)
        low, high = chance_bands(posterior, AVS)
        limits, spreads = np.tile(GRID, len(SPREADS)), np.repeat(SPREADS, GRID_POINTS)
        for column, av in enumerate(AVS):
            chance = norm.sf((av - limits) / spreads)
            assert posterior[0][chance < low[0, column] - 0.03].sum() <= 0.05
            assert posterior[0][chance < low[0, column] + 0.03].sum() >= 0.05
            assert posterior[0][chance > high[0, column] + 0.03].sum() <= 0.05
            assert posterior[0][chance > high[0, column] - 0.03].sum() >= 0.05


def test_the_limits_quantiles_are_those_of_a_known_distribution():
    """A normal of mean 6 and sd 1.5 on the grid has the normal's own quantiles."""
    density = norm.pdf(GRID, 6, 1.5)
    posterior = np.outer(np.full(len(SPREADS), 1 / len(SPREADS)), density / density.sum()).ravel()[None]
    expected = norm.ppf([0.05, 0.5, 0.95], 6, 1.5)
    assert limit_quantiles(posterior)[0] == pytest.approx(expected, abs=0.02)


def test_entropy_of_a_coin_is_one_bit():
    assert entropy_bits(np.array([0.0, 0.5, 1.0])).tolist() == [0.0, 1.0, 0.0]


def test_another_report_teaches_most_where_least_is_known():
    untested = _posterior([claim(0, "nothing_found")])
    worth = [expected_information(each)[0] for each in (untested, _posterior(agreeing(1, 8)))]
    worth += [only_cell(agreeing(count, 8)).expected_information for count in (3, 10)]
    assert worth == sorted(worth, reverse=True)
    assert worth[0] > 1
    assert worth[-1] < 0.05


def test_the_fast_path_over_a_catalogue_is_within_a_thousandth_of_the_exact_one():
    rng = np.random.default_rng(3)
    cases = []
    for lens in range(60):
        reports = [
            (sweep, measured)[n % 2](
                f"{lens}-{n}",
                float(rng.choice([2, 4, 8, 16])),
                tester=f"t{rng.integers(4)}",
                stops=(4, 8, 11, 16),
                focal_mm=float(rng.choice([24, 50, 70])),
                cut_on_nm=rng.choice([590.0, 720.0, 830.0, None]),
            )
            for n in range(int(rng.integers(0, 9)))
        ]
        cases.append((ZOOM, reports))
    arrays = arrays_of(cases)
    exact, fast = assess_arrays(arrays), assess_fast(arrays)
    assert np.abs(fast.chance - exact.chance).max() < 0.001
    assert np.abs(fast.low - exact.low).max() < 0.001
    assert np.abs(fast.limits - exact.limits).max() < 0.001
    assert np.array_equal(fast.ruling.code, exact.ruling.code)
    assert np.array_equal(fast.ruling.confidence, exact.ruling.confidence)
