"""The likelihood of limits against the classical estimator of interval-censored data."""

from __future__ import annotations

import numpy as np
import pytest

from registry.consensus.likelihood import log_likelihoods

# Breast cosmesis, radiotherapy arm, n = 46, months to deterioration as (left, right] (Finkelstein & Wolfe,
# Biometrics 41, 1985, 933–945); inf: not seen to deteriorate.
COSMESIS = (
    "45,inf 25,37 37,inf 6,10 46,inf 0,5 0,7 26,40 18,inf 46,inf 46,inf 24,inf 46,inf 27,34 36,inf 7,16 36,44 "
    "5,11 17,inf 46,inf 19,35 7,14 36,48 17,25 37,44 37,inf 24,inf 0,8 40,inf 32,inf 4,11 17,25 33,inf 15,inf "
    "46,inf 19,26 11,15 11,18 37,inf 22,inf 38,inf 34,inf 46,inf 5,12 36,inf 46,inf"
)
TURNBULL = {
    (4, 5): 0.0463,
    (6, 7): 0.0334,
    (7, 8): 0.0887,
    (11, 12): 0.0708,
    (24, 25): 0.0926,
    (33, 34): 0.0818,
    (38, 40): 0.1209,
    (46, 48): 0.4656,
}
"""Self-consistent estimate (Turnbull 1976); lifelines 0.30 and an EM of our own agree."""


def _intervals() -> np.ndarray:
    return np.array([[float(end) for end in pair.split(",")] for pair in COSMESIS.split()])


def test_sweeps_as_intervals_give_turnbulls_estimate_of_breast_cosmesis():
    """A month is a grid bin here: a sweep clean at the left end and hot at the right one says the limit lies
    between. Frames all but certain make our likelihood his."""
    bin_av = 1 / 6
    first = -2.0  # lower edge of month 0 → 1
    report, av, odds = [], [], []
    for number, (left, right) in enumerate(_intervals()):
        if left > 0:
            report.append(number), av.append(first + left * bin_av), odds.append(40.0)
        if np.isfinite(right):
            report.append(number), av.append(first + right * bin_av), odds.append(-40.0)
    logs = log_likelihoods(np.array(report), np.array(av), np.array(odds), 46)
    inside = np.exp(logs[:, :60])

    mass = np.full(60, 1 / 60)
    for _ in range(4000):
        share = inside * mass
        mass = (share / share.sum(axis=1, keepdims=True)).mean(axis=0)
    for (left, right), expected in TURNBULL.items():
        upper = 60 if right == 48 else right
        assert mass[left:upper].sum() == pytest.approx(expected, abs=1e-4)
    assert np.log(inside @ mass).sum() == pytest.approx(-58.0600, abs=1e-4)
