"""Numbers can't buy a verdict: what counts as one voice, and that order leaves no trace."""

from __future__ import annotations

from dataclasses import replace

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from registry.consensus.answers import Question, answer
from registry.consensus.assessment import assess_lens
from registry.consensus.verdicts import CONFIDENCES
from tests.consensus.makers import PRIME, STOPS, agreeing, chances, claim, measured, only_cell, sweep

limits = st.sampled_from((1, *STOPS))
reports_of_limits = st.lists(limits, min_size=1, max_size=8).map(
    lambda found: [(sweep if n % 2 else measured)(n, limit) for n, limit in enumerate(found)]
)


def _figures(assessment):
    return [
        (
            cell.stops,
            cell.limit_av,
            cell.verdict,
            cell.confidence,
            cell.n_independent,
            cell.expected_information,
        )
        for cell in assessment.cells
    ]


@settings(deadline=None, max_examples=40)
@given(reports=reports_of_limits, order=st.randoms(use_true_random=False))
def test_the_order_of_reports_changes_no_digit(reports, order):
    reports = [
        *reports,
        claim("c", "clean_to", 8),
        sweep("z", 4, cut_on_nm=830),
        sweep("u", 4, cut_on_nm=None),
    ]
    shuffled = list(reports)
    order.shuffle(shuffled)
    first, second = assess_lens(PRIME, reports), assess_lens(PRIME, shuffled)
    assert _figures(first) == _figures(second)
    assert first.causes == second.causes


@settings(deadline=None, max_examples=40)
@given(reports=reports_of_limits, copies=st.integers(2, 20), which=st.integers(0, 7))
def test_copies_of_a_report_change_no_digit(reports, copies, which):
    original = reports[which % len(reports)]
    again = [replace(original, id=f"copy-{number}") for number in range(copies)]
    assert _figures(assess_lens(PRIME, reports)) == _figures(assess_lens(PRIME, reports + again))


@settings(deadline=None, max_examples=40)
@given(reports=reports_of_limits)
def test_the_chance_of_a_clean_frame_never_rises_with_the_f_number(reports):
    cell = only_cell(reports)
    assert chances(cell) == sorted(chances(cell), reverse=True)
    assert all(0 <= stop.low <= stop.p_clean <= stop.high <= 1 for stop in cell.stops)


@settings(deadline=None, max_examples=40)
@given(limit=limits, count=st.integers(1, 9), make=st.sampled_from((sweep, measured)))
def test_another_report_that_agrees_never_lowers_confidence(limit, count, make):
    reports = [(sweep if n % 2 else make)(n, limit) for n in range(count)]
    before, after = only_cell(reports), only_cell([*reports, make("new", limit)])
    assert CONFIDENCES.index(after.confidence) >= CONFIDENCES.index(before.confidence)


@settings(deadline=None, max_examples=40)
@given(reports=reports_of_limits)
def test_another_report_that_finds_the_stated_stop_clean_never_lowers_its_chance(reports):
    before = only_cell(reports)
    stated = before.verdict.f_number
    if stated is None:
        return
    tested = [stop for stop in STOPS if stop <= stated]
    after = only_cell([*reports, sweep("new", stated, stops=tested)])
    chance = {stop.f_number: stop.p_clean for stop in before.stops}
    assert {stop.f_number: stop.p_clean for stop in after.stops}[stated] >= chance[stated]


@settings(deadline=None, max_examples=30)
@given(reports=reports_of_limits, taken=st.integers(0, 7))
def test_a_report_set_aside_leaves_no_trace(reports, taken):
    """Undo restores the digits too: an assessment depends on the reports it is given and on nothing else."""
    without = [report for n, report in enumerate(reports) if n != taken % len(reports)]
    before = _figures(assess_lens(PRIME, without))
    assess_lens(PRIME, reports)
    assert _figures(assess_lens(PRIME, without)) == before


conditions = st.fixed_dictionaries(
    {
        "limit": limits,
        "tester": st.sampled_from("abcdef"),
        "filter_position": st.sampled_from(("front", "rear", None)),
        "cut_on_nm": st.sampled_from((590.0, 720.0, 830.0, None)),
        "body": st.sampled_from(("one", "two", "three", None)),
        "copy": st.sampled_from(("the club's", None, None)),
        "source": st.sampled_from(("a page", None, None)),
        "make": st.sampled_from((sweep, measured)),
    }
)
reports_under_conditions = st.lists(conditions, min_size=2, max_size=9).map(
    lambda rows: [
        row["make"](n, **{key: value for key, value in row.items() if key != "make"})
        for n, row in enumerate(rows)
    ]
)
QUESTION = Question(720, 50, "front", "one", "measured")


@settings(deadline=None, max_examples=40)
@given(reports=reports_under_conditions, order=st.randoms(use_true_random=False), copies=st.integers(2, 20))
def test_neither_order_nor_copies_change_a_digit_of_an_answer_that_weighs_causes(reports, order, copies):
    plain = answer(PRIME, reports, QUESTION, STOPS)
    again = [*reports, *(replace(reports[0], id=f"copy-{number}") for number in range(copies))]
    order.shuffle(again)
    assert answer(PRIME, again, QUESTION, STOPS) == plain
    assert assess_lens(PRIME, again).causes == assess_lens(PRIME, reports).causes


def test_six_relayed_testers_add_six_pieces_of_evidence():
    own = [sweep("own", 8, tester="relayer")]
    relayed = [sweep(f"relay-{n}", 8, tester=f"cited-{n}", method="claim") for n in range(6)]
    assert only_cell(own).n_independent == 1
    assert only_cell(own + relayed).n_independent == 7


def test_one_copy_lent_to_three_testers_is_one_piece_of_evidence():
    lent = [sweep(n, 8, copy="club copy") for n in range(3)]
    assert only_cell(lent).n_independent == 1


def test_testers_joined_through_copy_and_source_are_one_cluster():
    chain = [
        sweep(0, 8, tester="a", copy="c1"),
        sweep(1, 8, tester="b", copy="c1", source="s1"),
        sweep(2, 8, tester="c", source="s1"),
    ]
    assert only_cell(chain).n_independent == 1


def test_a_relay_that_repeats_measured_figures_is_the_same_evidence():
    evs = (0.013, 0.021, 0.034, 0.052, 0.117, 0.231, 0.402)
    original = measured(0, 8)
    readings = tuple(replace(r, ev=ev) for r, ev in zip(original.readings, evs, strict=True))
    original = replace(original, readings=readings)
    relay = replace(original, id="relay", tester="someone else", source="a page")
    stranger = replace(original, id="stranger", tester="a third")
    assert only_cell([original, relay]).n_independent == 1
    assert only_cell([original, stranger]).n_independent == 2


def test_a_flood_of_contradictions_by_one_person_moves_no_more_than_one_report():
    honest = agreeing(3, 8)
    one = only_cell([*honest, sweep("w", 2, tester="flooder")])
    flood = [sweep(f"w{n}", 2, tester="flooder", focal_mm=50 + 0.01 * n) for n in range(20)]
    assert chances(only_cell([*honest, *flood])) == chances(one)


def _moved(honest, added) -> float:
    before, after = chances(only_cell(honest)), chances(only_cell([*honest, *added]))
    return max(abs(a - b) for a, b in zip(before, after, strict=True))


def _differing(number: int, limit: float, tester: str):
    """A measured sweep whose figures no other has."""
    report = measured(number, limit, tester)
    readings = tuple(replace(r, ev=r.ev + 0.0001 * (number + 1)) for r in report.readings)
    return replace(report, id=f"{tester}-{number}", readings=readings)


@pytest.mark.parametrize("limit", [2, 16])
def test_twenty_different_tests_by_one_person_weigh_less_than_two_strangers(limit):
    honest = agreeing(3, 5.6)
    one_person = [_differing(n, limit, "flooder") for n in range(20)]
    strangers = [_differing(n, limit, f"stranger-{n}") for n in range(2)]
    assert _moved(honest, one_person) < _moved(honest, strangers)


def test_a_flood_of_contradictions_moves_no_more_than_one_report_can():
    honest = agreeing(3, 5.6)
    flood = [_differing(n, (1, 16)[n % 2], "flooder") for n in range(20)]
    assert _moved(honest, flood) <= max(_moved(honest, [_differing(0, stop, "one")]) for stop in (1, *STOPS))


def test_repeats_of_a_stop_within_a_sweep_count_once():
    report = sweep(0, 8)
    repeated = replace(report, readings=report.readings + report.readings)
    assert chances(only_cell([repeated])) == chances(only_cell([report]))
