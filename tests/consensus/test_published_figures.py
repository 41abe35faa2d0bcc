"""The descriptive layer against published data sets and handbook values, each with its source."""

from __future__ import annotations

import math

import numpy as np
import pytest

from registry.consensus.descriptive import never_falling, ordinal_alpha, pooled_effect, wilson_interval
from registry.optics.stops import FULL_STOPS, av_of

# BCG vaccine against tuberculosis, 13 trials (Colditz et al., JAMA 271, 1994, 698–702):
# vaccinated cases, vaccinated well, control cases, control well.
BCG = np.array(
    [
        (4, 119, 11, 128),
        (6, 300, 29, 274),
        (3, 228, 11, 209),
        (62, 13536, 248, 12619),
        (33, 5036, 47, 5761),
        (180, 1361, 372, 1079),
        (8, 2537, 10, 619),
        (505, 87886, 499, 87892),
        (29, 7470, 45, 7232),
        (17, 1699, 65, 1600),
        (186, 50448, 141, 27197),
        (5, 2493, 3, 2338),
        (27, 16886, 29, 17825),
    ],
    dtype=float,
)


def _log_risk_ratios():
    a, b, c, d = BCG.T
    effect = np.log((a / (a + b)) / (c / (c + d)))
    return effect, 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)


def test_bcg_trials_pool_as_dersimonian_and_laird_published():
    """Colditz et al. 1994 data; figures from statsmodels 0.15 and from the formula of DerSimonian & Laird 1986."""
    pooled = pooled_effect(*_log_risk_ratios())
    assert pooled.tau2 == pytest.approx(0.308760, abs=1e-6)
    assert pooled.mean == pytest.approx(-0.714117, abs=1e-6)
    assert pooled.se == pytest.approx(0.178742, abs=1e-6)
    assert pooled.q == pytest.approx(152.2330, abs=1e-4)
    assert 100 * pooled.i2 == pytest.approx(92.117, abs=1e-3)


def test_bcg_trials_have_the_hartung_knapp_interval():
    """Same data; statsmodels combine_effects with use_t."""
    pooled = pooled_effect(*_log_risk_ratios())
    assert (pooled.low, pooled.high) == pytest.approx((-1.107821, -0.320413), abs=1e-6)
    half = (pooled.high - pooled.low) / 2
    assert half / 2.178813 == pytest.approx(0.180697, abs=1e-6)  # t quantile .975 with 12 df, any table


def test_bcg_trials_pool_as_paule_and_mandel_published():
    """Same data; Paule & Mandel 1982 by statsmodels and by solving their equation."""
    assert pooled_effect(*_log_risk_ratios(), "paule-mandel").tau2 == pytest.approx(0.318068, abs=1e-5)


def test_effects_that_agree_have_no_spread_between_them():
    """τ² is truncated at 0 (DerSimonian & Laird 1986, eq. 8), where the library goes below."""
    for method in ("dersimonian-laird", "paule-mandel"):
        pooled = pooled_effect([0.1, 0.11, 0.09], [0.01, 0.01, 0.01], method)
        assert pooled.tau2 == 0
        assert pooled.i2 == 0
        assert pooled.se == pytest.approx(math.sqrt(0.01 / 3))


def test_one_effect_has_no_interval_between_testers():
    pooled = pooled_effect([0.2], [0.0025])
    assert (pooled.mean, pooled.se, pooled.n) == (0.2, 0.05, 1)
    assert math.isnan(pooled.low)


@pytest.mark.parametrize(
    ("count", "n", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_intervals_are_those_of_newcombe(count, n, low, high):
    """Newcombe, Statistics in Medicine 17, 1998, 857–872, table I, method 3."""
    assert wilson_interval(count, n) == pytest.approx((low, high), abs=5e-5)


def test_krippendorffs_example_has_his_ordinal_alpha():
    """Krippendorff 2011, "Computing Krippendorff's Alpha-Reliability", his 4 observers × 12 units; .815 from
    memory, .815388 by package krippendorff 0.9."""
    missing = -1
    ratings = np.array(
        [
            [1, 2, 3, 3, 2, 1, 4, 1, 2, missing, missing, missing],
            [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, missing, 3],
            [missing, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, missing],
            [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, missing],
        ]
    )
    counts = np.array([np.bincount(unit[unit > 0] - 1, minlength=5) for unit in ratings.T])
    assert ordinal_alpha(counts) == pytest.approx(0.815388, abs=1e-6)


def test_alpha_is_undefined_without_two_judgements_of_anything():
    assert ordinal_alpha(np.array([[1, 0, 0], [0, 1, 0]])) is None
    assert ordinal_alpha(np.array([[2, 0, 0], [3, 0, 0]])) is None


def test_isotonic_example():
    """scikit-learn's and SciPy's answer; no publication."""
    assert never_falling([1, 3, 2, 4, 3.5, 5]).tolist() == [1, 2.5, 2.5, 3.75, 3.75, 5]


def test_full_stops_are_the_series_of_iso_517():
    """ISO 517: 1 1.4 2 2.8 … = 2^(k/2); APEX: Av = k."""
    marks = {int(stop.av): float(stop.mark) for stop in FULL_STOPS}
    assert [marks[k] for k in range(11)] == [1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32]
    for k in range(11):
        assert av_of(2 ** (k / 2)) == pytest.approx(k)
        assert av_of(marks[k]) == pytest.approx(k, abs=0.1)


def test_huber_mean_of_copper_in_flour():
    """24 determinations of copper in wholemeal flour (Analytical Methods Committee, Analyst 114, 1989,
    1693–1697); mean 3.205 and spread .674 by statsmodels' Huber (c = 1.5); the published ones from memory."""
    from statsmodels.robust.scale import Huber

    copper = "2.9 3.1 3.4 3.4 3.7 3.7 2.8 2.5 2.4 2.4 2.7 2.2 5.28 3.37 3.03 3.03 28.95 3.77 3.4 2.2 3.5 3.6 3.7 3.7"
    mean, spread = Huber(c=1.5)(np.array(copper.split(), dtype=float))
    assert (float(mean), float(spread)) == pytest.approx((3.205498, 0.673653), abs=1e-5)
