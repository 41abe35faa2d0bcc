"""What separates two camps, with as few reports as can show it, and silence where nothing does."""

from __future__ import annotations

import numpy as np
import pytest

from registry.consensus.answers import Question, answer
from registry.consensus.assessment import assess_lens
from registry.consensus.beliefs import DEFAULT_PRIORS
from registry.consensus.priors import learn_causes
from tests.consensus.makers import PRIME, STOPS, agreeing, sweep

CAMPS = {
    "filter_position": ("front", "rear"),
    "cut_on_nm": (590, 830),
    "body": ("one body", "another"),
    "method": ("visual", "measured"),
}


def _split(field: str, count: int = 10, gap: tuple[float, float] = (11, 4)) -> list:
    low, high = CAMPS[field]
    return [sweep(n, gap[n % 2], **{field: (low, high)[n % 2]}) for n in range(count)]


@pytest.mark.parametrize(
    ("field", "factor"),
    [("filter_position", "filter_position"), ("cut_on_nm", "cut_on"), ("body", "body"), ("method", "method")],
)
def test_what_separates_the_camps_is_named(field, factor):
    causes = assess_lens(PRIME, _split(field)).causes
    assert causes[0].factor == factor
    assert causes[0].likely
    assert abs(causes[0].effect_stops) == pytest.approx(3, abs=0.8)


def test_the_effect_says_which_side_is_clean_further():
    cause = assess_lens(PRIME, _split("filter_position")).causes[0]
    assert (cause.group_a, cause.group_b) == ("front", "rear")
    assert cause.effect_stops > 0


def test_a_focal_length_trend_is_found_on_a_zoom():
    from tests.consensus.makers import ZOOM

    reports = [sweep(n, (16, 8, 4)[n % 3], focal_mm=(24, 41, 70)[n % 3], stops=STOPS[2:]) for n in range(12)]
    cause = assess_lens(ZOOM, reports).causes[0]
    assert cause.factor == "focal"
    assert (cause.group_a, cause.group_b) == ("70 mm", "24 mm")
    assert cause.effect_stops < -2


def test_a_bad_copy_that_three_people_tried_is_named():
    good = [sweep(n, 11, copy=f"copy {n}") for n in range(6)]
    bad = [sweep(f"b{n}", 4, copy="the bad one") for n in range(3)]
    causes = assess_lens(PRIME, good + bad).causes
    assert causes[0].factor == "copy"
    assert causes[0].group_a == "the bad one"
    reply = answer(PRIME, good + bad, Question(720, 50), [8])
    assert reply.p_clean[8] > 0.8


def test_three_people_who_tried_both_ways_show_more_than_four_strangers():
    both = [
        sweep(n, (11, 4)[n % 2], f"t{n // 2}", filter_position=("front", "rear")[n % 2]) for n in range(6)
    ]
    strangers = [sweep(n, (11, 4)[n % 2], filter_position=("front", "rear")[n % 2]) for n in range(4)]
    own_control, apart = (assess_lens(PRIME, reports).causes[0] for reports in (both, strangers))
    assert own_control.factor == apart.factor == "filter_position"
    assert own_control.odds > 100 * apart.odds


def test_reports_that_agree_have_nothing_to_explain():
    reports = [sweep(n, 8, filter_position=("front", "rear")[n % 2]) for n in range(10)]
    assert assess_lens(PRIME, reports).causes == ()


def test_camps_that_no_condition_separates_are_not_explained():
    rng = np.random.default_rng(7)
    named = 0
    for _ in range(20):
        side = rng.permutation(10) % 2
        reports = [
            sweep(n, (8, 5.6, 11)[n % 3], filter_position=("front", "rear")[side[n]], body=f"body {n % 3}")
            for n in range(10)
        ]
        named += any(cause.likely for cause in assess_lens(PRIME, reports).causes)
    assert named <= 1


def test_a_question_is_answered_for_its_own_condition():
    reports = _split("filter_position")
    front, rear = (answer(PRIME, reports, Question(720, 50, side), [8]) for side in ("front", "rear"))
    assert front.explanation == rear.explanation == "filter_position"
    assert front.p_clean[8] > 0.75
    assert rear.p_clean[8] < 0.2
    assert front.limit_av.low > rear.limit_av.high - 1


def test_a_condition_nobody_tested_is_answered_less_surely():
    reports = [sweep(n, 8, filter_position="front") for n in range(6)]
    front, rear = (answer(PRIME, reports, Question(720, 50, side), [5.6, 11]) for side in ("front", "rear"))
    assert rear.p_clean[5.6] < front.p_clean[5.6]
    assert rear.p_clean[11] > front.p_clean[11]
    assert rear.limit_av.high - rear.limit_av.low > front.limit_av.high - front.limit_av.low
    assert rear.explanation is None


def test_an_unsplit_lens_answers_alike_for_every_condition():
    reports = [sweep(n, 8, filter_position=("front", "rear")[n % 2]) for n in range(8)]
    front, rear = (answer(PRIME, reports, Question(720, 50, side), [8]) for side in ("front", "rear"))
    assert front == rear
    assert front.explanation is None


def test_an_answer_matches_the_standing_where_no_cause_is_shown():
    cell = assess_lens(PRIME, agreeing(4, 8)).cells[0]
    reply = answer(PRIME, agreeing(4, 8), Question(720, 50), [stop.f_number for stop in cell.stops])
    assert list(reply.p_clean.values()) == pytest.approx([stop.p_clean for stop in cell.stops], abs=1e-12)
    assert (reply.verdict, reply.confidence, reply.n_independent) == (cell.verdict, cell.confidence, 4)


def test_how_often_causes_split_is_learned_from_the_catalogue():
    split, unsplit = {"body": 8.0, "cut_on": -1.0}, {"body": -2.0, "cut_on": -2.0}
    shares, none = learn_causes([split] * 300)
    assert shares["body"] > 0.5
    assert none[0] < 0.01
    shares, none = learn_causes([unsplit] * 300)
    assert shares["body"] < DEFAULT_PRIORS.causes["body"]
    assert none[0] > 0.9
    assert sum(shares.values()) < 1
