"""What can't be true is refused before it reaches the grid, with field, value and remedy."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from registry.consensus.evidence import Claim, Lens, Reading, Report, check_lens, check_report
from registry.errors import InvalidInput
from tests.consensus.makers import PRIME, claim, sweep


def _problems(report, lens=PRIME):
    with pytest.raises(InvalidInput) as refused:
        check_report(report, lens)
    return {problem.field: problem for problem in refused.value.problems}


def _with(**values) -> Report:
    return replace(sweep(0, 8), readings=(Reading(**({"f_number": 8, "ev": 0.1, "ev_se": 0.02} | values)),))


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("ev", math.nan),
        ("ev", math.inf),
        ("ev", "dark"),
        ("ev_se", -0.01),
        ("ev_se", math.nan),
        ("f_number", 0.5),
        ("f_number", 90),
        ("f_number", math.nan),
        ("f_number", None),
        ("grade", 5),
        ("grade", 1.5),
        ("grade", True),
    ],
)
def test_impossible_readings_are_refused_by_field(field, value):
    problems = _problems(_with(**{field: value}))
    problem = problems[f"readings[0].{field}"]
    assert problem.value is value
    assert problem.says
    assert problem.remedy


@pytest.mark.parametrize("cut_on_nm", [399, 1101, math.nan, -720, "720"])
def test_wavelengths_outside_the_near_infrared_are_refused(cut_on_nm):
    assert "cut_on_nm" in _problems(sweep(0, 8, cut_on_nm=cut_on_nm))


def test_readings_wider_than_the_lens_opens_are_refused():
    problem = _problems(_with(f_number=1.4))["readings[0].f_number"]
    assert problem.code == "wider-than-lens"
    assert "f/1.4" in problem.says
    assert "f/2" in problem.says


def test_a_makers_rounding_of_the_widest_stop_is_no_fault():
    check_report(_with(f_number=3.5), Lens(3.6, 22, 50, 50))
    check_report(_with(f_number=1.78), Lens(1.8, 22, 50, 50))


def test_a_zoom_is_held_to_its_widest_at_the_long_end():
    zoom = Lens(3.5, 22, 18, 55, widest_tele=5.6)
    check_report(replace(_with(f_number=4), focal_mm=18.0), zoom)
    assert "readings[0].f_number" in _problems(replace(_with(f_number=4), focal_mm=55.0), zoom)


def test_every_problem_is_named_at_once():
    report = replace(
        _with(ev=math.nan, ev_se=-1),
        cut_on_nm=3000.0,
        focal_mm=-1.0,
        filter_position="pocket",
        method="guess",
        tester="",
        copy=7,
    )
    assert set(_problems(report)) == {
        "readings[0].ev",
        "readings[0].ev_se",
        "cut_on_nm",
        "focal_mm",
        "filter_position",
        "method",
        "tester",
        "copy",
    }


def test_claims_need_a_known_word_and_their_f_number():
    assert "claim.says" in _problems(claim(0, "quite good"))
    assert "claim.f_number" in _problems(claim(0, "clean_to"))
    assert "claim.f_number" in _problems(claim(0, "hot_from", math.inf))
    check_report(claim(0, "clean_all"), PRIME)


def test_an_empty_report_and_an_empty_reading_are_refused():
    assert "readings" in _problems(replace(sweep(0, 8), readings=()))
    assert "readings[0].ev" in _problems(_with(ev=None, ev_se=None))
    check_report(replace(sweep(0, 8), readings=(), claim=Claim("mixed")), PRIME)


def test_lenses_are_checked_too():
    with pytest.raises(InvalidInput) as refused:
        check_lens(Lens(math.nan, 22, 70, 24))
    assert {problem.field for problem in refused.value.problems} == {"lens.widest", "lens.focal_max"}
    with pytest.raises(InvalidInput, match="Exchange"):
        check_lens(Lens(22, 2, 50, 50))
