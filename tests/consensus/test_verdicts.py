"""What readers are told: the worked examples of the method and the rules' edges."""

from __future__ import annotations

import pytest

from registry.consensus.assessment import assess_lens
from registry.consensus.evidence import Lens, Reading, Report
from registry.consensus.sentences import verdict_words
from tests.consensus.makers import PRIME, agreeing, claim, measured, only_cell, sweep


def _said(reports, lens=PRIME):
    cell = only_cell(reports, lens)
    return verdict_words(cell.verdict), cell.confidence


@pytest.mark.parametrize(("count", "confidence"), [(2, "tentative"), (3, "fair"), (5, "firm"), (10, "firm")])
def test_agreement_on_f8_grows_from_tentative_to_firm(count, confidence):
    assert _said(agreeing(count, 8)) == ("clean to f/8", confidence)
    assert _said([measured(number, 8) for number in range(count)]) == ("clean to f/8", confidence)
    assert _said([claim(number, "clean_to", 8) for number in range(count)]) == ("clean to f/8", confidence)


MAKERS = pytest.mark.parametrize("make", [sweep, measured])


@MAKERS
def test_three_for_f8_and_two_for_f5_6_settle_on_the_safer(make):
    reports = [make(n, 8 if n < 3 else 5.6) for n in range(5)]
    assert _said(reports) == ("clean to f/5.6", "firm")


@MAKERS
def test_three_for_f11_and_two_for_f2_8_differ(make):
    assert _said([make(n, 11 if n < 3 else 2.8) for n in range(5)])[0] == "reports differ"


@MAKERS
def test_nine_outweigh_one_who_is_suspect(make):
    reports = [make(n, 8 if n < 9 else 2.8) for n in range(10)]
    cell = only_cell(reports)
    assert verdict_words(cell.verdict) == "clean to f/8"
    assert [suspect.report_ids for suspect in cell.suspects] == [("9",)]
    assert cell.suspects[0].p < 0.01


def test_twenty_reports_by_one_person_are_one_report_so_far():
    twenty = [sweep(number, 8, tester="one person") for number in range(20)]
    assert _said(twenty) == ("one report so far: clean to f/8", "tentative")
    assert only_cell(twenty).n_independent == 1


def test_two_reports_two_stops_apart_differ():
    assert _said([sweep(0, 16), sweep(1, 4)])[0] == "reports differ"


def test_hot_wide_open_is_never_clean():
    assert _said(agreeing(5, 1)) == ("never clean", "firm")


def test_clean_at_the_narrowest_stop_is_clean_throughout():
    assert _said(agreeing(5, 16)) == ("clean throughout", "firm")


def test_no_stop_is_stated_that_nobody_tested():
    slower = Lens(widest=2, narrowest=22, focal_min=50, focal_max=50)
    assert _said(agreeing(5, 16), slower) == ("clean as far as tested (f/16)", "firm")
    third_stops = [sweep(number, 9, stops=(4.5, 6.3, 9, 13)) for number in range(5)]
    assert _said(third_stops)[0] == "clean to f/9"


def test_a_single_report_is_quoted():
    assert _said([claim(0, "hot_all")])[0] == "one report so far: never clean"
    assert _said([claim(0, "clean_all")])[0] == "one report so far: clean throughout"
    assert _said([claim(0, "mixed")])[0] == "one report so far: mixed results"
    assert _said([sweep(0, 4, stops=(8, 11))])[0] == "one report so far: hot from f/8, nothing wider tested"


def test_a_search_that_found_nothing_is_no_evidence_but_is_counted():
    cell = only_cell([claim(0, "nothing_found")])
    assert verdict_words(cell.verdict) == "no reports"
    assert (cell.n_independent, cell.n_nothing_found, cell.confidence) == (0, 1, None)


def test_mixed_results_are_counted_without_moving_the_chances():
    plain = only_cell(agreeing(3, 8))
    beside = only_cell([*agreeing(3, 8), claim("m", "mixed")])
    assert beside.stops == plain.stops
    assert (beside.n_mixed, beside.n_independent) == (1, 4)


def test_weak_reports_everywhere_show_no_safe_stop():
    doubtful = [
        Report(str(n), f"t{n}", cut_on_nm=720, readings=(Reading(2, grade=g), Reading(8, grade=2)))
        for n, g in enumerate((0, 2, 0, 2))
    ]
    assert _said(doubtful)[0] in ("no safe stop shown", "reports differ")


def test_a_lens_without_reports_has_no_cells_unless_asked():
    assert assess_lens(PRIME, []).cells == ()
    (cell,) = assess_lens(PRIME, [], asked=[("700-780", "47-66")]).cells
    assert cell.verdict.code == "no-reports"
    assert not any(stop.tested for stop in cell.stops)


def test_a_limit_beyond_the_tested_stops_is_open_ended():
    clean, hot, between = (only_cell(agreeing(5, limit)) for limit in (16, 1, 8))
    assert clean.limit_av.open_high
    assert hot.limit_av.open_low
    assert not between.limit_av.open_low
    assert not between.limit_av.open_high


def test_hotspots_grow_with_the_f_number():
    """Common practice, no source: wide open is often free of them."""
    stops = [stop.p_clean for stop in only_cell(agreeing(4, 5.6)).stops]
    assert stops == sorted(stops, reverse=True)
    assert stops[0] > 0.95 > 0.2 > stops[-1]
