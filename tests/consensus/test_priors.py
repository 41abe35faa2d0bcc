"""What is believed beforehand: learned, moved to another threshold, kept in JSON."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from registry.consensus.assessment import assess_catalogue, assess_lens
from registry.consensus.beliefs import DEFAULT_PRIORS, Priors
from registry.consensus.constants import SPREADS
from registry.consensus.grid import GRID, kernel
from registry.consensus.priors import fit_priors
from tests.consensus.makers import PRIME, ZOOM, agreeing, chances, measured, only_cell, sweep


def _mean(priors: Priors) -> float:
    return float(np.array(priors.limits) @ GRID)


def test_kernels_spread_everything_and_lose_nothing():
    for sd, offset in ((0.35, 0.0), (2.0, 1.5), (0.0, -3.0)):
        assert kernel(sd, offset).sum(axis=1) == pytest.approx(1)


def test_a_catalogue_of_clean_lenses_raises_what_is_expected_of_the_next():
    learned = fit_priors([(PRIME, agreeing(3, 16))] * 60)
    assert _mean(learned) > _mean(DEFAULT_PRIORS) + 1
    assert learned.lenses == 60
    assert sum(learned.limits) == pytest.approx(1)


def test_testers_who_agree_teach_small_spreads():
    learned = fit_priors([(PRIME, agreeing(8, 8))] * 60)
    assert learned.spreads[0] > DEFAULT_PRIORS.spreads[0] * 2


def test_lenses_split_by_a_cause_do_not_teach_that_tests_scatter():
    def split(number):
        return [
            sweep(n, (16, 4)[n % 2], filter_position=("front", "rear")[n % 2], tester=f"{number}-{n}")
            for n in range(10)
        ]

    learned = fit_priors([(PRIME, split(number)) for number in range(20)])
    wide = sum(learned.spreads[-2:])
    assert wide < sum(DEFAULT_PRIORS.spreads[-2:]) + 0.02
    assert learned.causes["filter_position"] > DEFAULT_PRIORS.causes["filter_position"]


def test_a_band_whose_limits_come_earlier_gets_an_offset():
    reports = [sweep(n, 11) for n in range(4)] + [sweep(f"i{n}", 5.6, cut_on_nm=830) for n in range(4)]
    learned = fit_priors([(PRIME, reports)] * 60)
    assert learned.offsets["780-up"] < -0.3 < 0.1 < learned.offsets["700-780"]


def test_only_strangers_teach_how_far_a_lenss_cells_lie_apart():
    """Someone's own habits make their results at two wavelengths alike; that says nothing about lenses."""

    def catalogue(at_830: str) -> list:
        limits = (4, 8, 16)
        return [
            (
                PRIME,
                [sweep(f"a{n}", limits[lens % 3], tester=f"t{n}") for n in range(4)]
                + [sweep(f"b{n}", limits[lens % 3], tester=f"{at_830}{n}", cut_on_nm=830) for n in range(4)],
            )
            for lens in range(30)
        ]

    same, strangers = (fit_priors(catalogue(who)).cell_spread for who in "ts")
    assert strangers < 0.5 < same


def test_an_empty_catalogue_leaves_the_base():
    assert fit_priors([]) == DEFAULT_PRIORS
    assert fit_priors([(PRIME, [])]) == DEFAULT_PRIORS


def test_priors_survive_json_to_the_last_digit():
    learned = fit_priors([(PRIME, agreeing(3, 8))] * 5)
    again = Priors.from_dict(json.loads(json.dumps(learned.to_dict())))
    assert again == learned
    assert assess_lens(PRIME, agreeing(3, 8), again) == assess_lens(PRIME, agreeing(3, 8), learned)


@pytest.mark.parametrize(
    "unknown_then", [("effects", "levels"), ("effects", "levels", "cell_spread", "causes")]
)
def test_priors_of_an_earlier_method_still_load_with_what_it_computed_with(unknown_then):
    learned = fit_priors([(PRIME, agreeing(3, 8))] * 5)
    stored = {key: value for key, value in learned.to_dict().items() if key not in unknown_then}
    again = Priors.from_dict({**stored, "method_version": "2026.1", "note": "unknown now"})
    base = {name: getattr(DEFAULT_PRIORS, name) for name in unknown_then}
    assert again == replace(learned, method_version="2026.1", **base)
    assert assess_lens(PRIME, agreeing(3, 8), again).cells


def test_spreads_of_an_earlier_method_are_moved_to_todays():
    stored = {**DEFAULT_PRIORS.to_dict(), "spreads": [0, 0, 1, 0, 0, 0], "method_version": "2026.3"}
    del stored["spread_points"]
    moved = Priors.from_dict(stored)
    assert sum(moved.spreads) == pytest.approx(1)
    assert np.exp(moved.spreads @ np.log(SPREADS)) == pytest.approx(0.7)


def test_lenses_with_one_voice_each_teach_limits_but_not_how_far_tests_scatter():
    """The two would be one figure there: lenses far apart, or tests that miss by far."""
    learned = fit_priors([(PRIME, agreeing(1, (4, 16)[number % 2])) for number in range(60)])
    assert learned.limits != DEFAULT_PRIORS.limits
    assert learned.spreads == pytest.approx(DEFAULT_PRIORS.spreads, rel=1e-3)


def test_a_catalogue_of_like_lenses_expects_the_next_one_to_be_like_them():
    """The few figures of the curve follow a small catalogue, which its free form could not."""

    def width(priors: Priors) -> float:
        limits = np.array(priors.limits)
        return float(np.sqrt(limits @ (GRID - limits @ GRID) ** 2))

    learned = fit_priors([(PRIME, agreeing(3, 8))] * 15)
    assert width(learned) < 0.75 * width(DEFAULT_PRIORS)


def test_a_stricter_reader_expects_earlier_limits():
    assert _mean(DEFAULT_PRIORS.at(0.05)) < _mean(DEFAULT_PRIORS) < _mean(DEFAULT_PRIORS.at(0.2))
    assert DEFAULT_PRIORS.at(0.10) is DEFAULT_PRIORS


@pytest.mark.parametrize("make", [sweep, measured])
def test_a_readers_tolerance_moves_the_chances_of_every_kind_of_evidence(make):
    reports = [make(n, 8) for n in range(4)]
    at = {
        tolerance: chances(only_cell(reports, visible_ev=tolerance))
        for tolerance in (0.03, 0.06, 0.10, 0.20, 0.30)
    }
    stops = range(len(at[0.10]))
    for low, high in ((0.03, 0.06), (0.06, 0.10), (0.10, 0.20), (0.20, 0.30)):
        assert all(at[low][stop] <= at[high][stop] + 0.002 for stop in stops)
    assert at[0.30][-2] > at[0.10][-2]


def test_a_catalogue_is_assessed_as_its_lenses_are_one_by_one():
    cases = [
        (PRIME, agreeing(3, 8)),
        (ZOOM, [sweep(n, 8, focal_mm=f, stops=(2.8, 5.6, 8, 11)) for n, f in enumerate((24, 50, 70, 24))]),
        (PRIME, []),
        (PRIME, [*agreeing(2, 16), sweep("x", 4, cut_on_nm=None)]),
    ]
    for (lens, reports), together in zip(cases, assess_catalogue(cases), strict=True):
        alone = assess_lens(lens, reports)
        assert [cell.verdict for cell in together.cells] == [cell.verdict for cell in alone.cells]
        for mine, theirs in zip(together.cells, alone.cells, strict=True):
            by_stop = {stop.f_number: stop.p_clean for stop in theirs.stops}
            for stop in mine.stops:
                assert stop.p_clean == pytest.approx(by_stop[stop.f_number], abs=1e-12)
