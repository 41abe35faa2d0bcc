"""From readings, grades and claims to the chance that a stop was clean."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import expit, logit
from scipy.stats import norm

from registry.consensus.evidence import Claim, Lens
from registry.consensus.grid import GRID, first_bin
from registry.consensus.likelihood import (
    chances_from_ev,
    chances_from_grades,
    claim_steps,
    claimed_stops,
    log_likelihoods,
)
from tests.consensus.makers import PRIME

TOLERANCES = (0.03, 0.05, 0.08, 0.10, 0.15, 0.20, 0.30)


def test_a_measured_excess_is_a_normal_around_the_threshold():
    ev, se = np.array([0.02, 0.10, 0.13, 0.5]), np.array([0.04, 0.02, np.nan, 0.0])
    spread = np.sqrt(np.array([0.04, 0.02, 0.04, 0.0]) ** 2 + 0.03**2)
    expected = np.clip(norm.cdf((0.10 - ev) / spread), 0.005, 0.995)
    assert chances_from_ev(ev, se) == pytest.approx(expected)


def test_grades_at_the_default_threshold_are_as_settled():
    assert chances_from_grades().tolist() == [0.995, 0.93, 0.07, 0.01, 0.003]


def test_chances_never_fall_with_the_threshold():
    table = np.array([chances_from_grades(tolerance) for tolerance in TOLERANCES])
    assert np.all(np.diff(table, axis=0) >= 0)
    assert np.all(np.diff(table, axis=1) <= 0)
    measured = [chances_from_ev(np.array([0.08]), np.array([0.02]), tolerance)[0] for tolerance in TOLERANCES]
    assert measured == sorted(measured)


def test_a_strict_reader_trusts_a_grade_of_none_only_as_far_as_it_says():
    """Grade 0 is below .05 EV: for a threshold of .03 that leaves the question open."""
    assert 0.5 < chances_from_grades(0.03)[0] < 0.8
    assert chances_from_grades(0.03)[1] < 0.3
    assert chances_from_grades(0.30)[2] > 0.8


def test_claims_become_one_or_two_stops():
    assert claim_steps(Claim("clean_to", 8), PRIME) == [(6.0, 0.97), (7.0, 0.12)]
    assert claim_steps(Claim("hot_from", 8), PRIME) == [(5.0, 0.88), (6.0, 0.03)]
    assert claim_steps(Claim("hot_all"), PRIME) == [(2.0, 0.02)]
    assert claim_steps(Claim("clean_all"), PRIME) == [(8.0, 0.97)]
    assert claim_steps(Claim("clean_all"), Lens(2, 32, 50, 50)) == [(8.0, 0.97)]
    assert claim_steps(Claim("clean_to", 16), PRIME) == [(8.0, 0.97)]
    assert claim_steps(Claim("mixed"), PRIME) == claim_steps(Claim("nothing_found"), PRIME) == []


def test_a_claim_tests_the_stops_it_speaks_of():
    assert claimed_stops(Claim("clean_to", 8), PRIME) == [2, 3, 4, 5, 6, 7]
    assert claimed_stops(Claim("hot_from", 8), PRIME) == [2, 3, 4, 5, 6]
    assert claimed_stops(Claim("mixed"), PRIME) == []


def test_marked_thirds_and_halves_fall_between_grid_points():
    for av in (0, 1 / 3, 0.5, 2 / 3, 8):
        point = first_bin(np.array([av]))[0]
        assert GRID[point - 1] < av < GRID[point]


def test_a_sweeps_likelihood_is_the_product_over_its_readings():
    av, chance = np.array([4.0, 6.0, 8.0]), np.array([0.99, 0.6, 0.02])
    logs = log_likelihoods(np.zeros(3, dtype=int), av, logit(chance), 1)[0]
    for limit, value in zip(GRID, np.exp(logs), strict=True):
        assert value == pytest.approx(np.prod(np.where(limit >= av, chance, 1 - chance)))
    assert expit(logit(0.3)) == pytest.approx(0.3)
