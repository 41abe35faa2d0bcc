"""What separates two camps, with as few reports as can show it, and silence where nothing does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from registry.consensus.answers import Question, answer, cell_departure
from registry.consensus.assessment import assess_lens
from registry.consensus.beliefs import BASE_EFFECT, DEFAULT_PRIORS, SHIFTS
from registry.consensus.cause_learning import learn_causes
from registry.consensus.causes import Explained, Explanations
from registry.consensus.constants import CAUSE_SIDE_COUNT
from registry.consensus.contrasts import Contrast, contrasts_of
from tests.consensus.makers import PRIME, STOPS, agreeing, sweep

# Probabilities whose plain sum depends on the order of summing.
CAUSES = [(factor, odds + 0.0123 / 7) for factor, odds in DEFAULT_PRIORS.causes.items()]
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


def test_the_order_in_which_a_database_gives_the_priors_changes_no_digit():
    reports = _split("filter_position", 6)
    told = {
        tuple(
            (cause.posterior, cause.odds)
            for cause in assess_lens(
                PRIME, reports, replace(DEFAULT_PRIORS, causes=dict(sorted(CAUSES, key=key)))
            ).causes
        )
        for key in (None, lambda row: row[1], lambda row: (len(row[0]), row[0]), lambda row: row[0][::-1])
    }
    assert len(told) == 1


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


def test_who_names_their_copy_only_sometimes_did_not_try_two():
    reports = [sweep(n, (11, 4)[n % 2], f"t{n // 2}", copy=(f"copy {n // 2}", None)[n % 2]) for n in range(6)]
    assert "copy" not in {cause.factor for cause in assess_lens(PRIME, reports).causes}


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
        side, bodies = rng.permutation(10) % 2, rng.permutation(10) % 3
        reports = [
            sweep(
                n, (8, 5.6, 11)[n % 3], filter_position=("front", "rear")[side[n]], body=f"body {bodies[n]}"
            )
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


def _catalogue(**evidence: float) -> list[Explanations]:
    """300 lenses on each of which contrasts were tried, with this log evidence for a shift of +2.25 stops."""
    by_shift = {factor: np.where(SHIFTS == 2.25, log, log - 3) for factor, log in evidence.items()}
    tried = tuple(
        Explained(Contrast(factor, np.array([0.5, -0.5]), "a", "b", level="a"), 0.0, np.empty(0), logs)
        for factor, logs in by_shift.items()
    )
    return [Explanations(tried, 1.0)] * 300


def test_how_often_causes_split_is_learned_from_the_catalogue():
    often, none = learn_causes(_catalogue(body=8.0, cut_on=-1.0), DEFAULT_PRIORS)
    assert often.causes["body"] > 0.5
    assert none[0] < 0.01
    seldom, none = learn_causes(_catalogue(body=-2.0, cut_on=-2.0), DEFAULT_PRIORS)
    assert seldom.causes["body"] < DEFAULT_PRIORS.causes["body"]
    assert none[0] > 0.9
    assert sum(often.causes.values()) < 1


def test_how_far_and_which_way_causes_shift_limits_is_learned_too():
    learned, _ = learn_causes(_catalogue(body=8.0), DEFAULT_PRIORS)
    sizes = dict(zip(SHIFTS.tolist(), learned.effect_of("body").tolist(), strict=True))
    assert sizes[2.25] > 0.6 > 0.1 > sizes[-2.25] > sizes[-4.0]
    other = dict(zip(SHIFTS.tolist(), learned.effect_of("focal").tolist(), strict=True))
    assert other[2.25] == pytest.approx(other[-2.25])
    assert other[2.25] > BASE_EFFECT[SHIFTS.tolist().index(2.25)]
    assert sum(sizes.values()) == pytest.approx(1)


def test_a_body_that_splits_lens_after_lens_is_suspected_on_the_next():
    learned, _ = learn_causes(_catalogue(body=8.0), DEFAULT_PRIORS)
    assert learned.level_weight("body", "a") > 10 * learned.level_weight("body", "one nobody has met")
    reports = [sweep(n, (11, 6.3)[n % 3 == 0], body=("a", "b", "c")[n % 3]) for n in range(6)]
    before, after = (assess_lens(PRIME, reports, priors).causes[0] for priors in (DEFAULT_PRIORS, learned))
    assert before.factor == after.factor == "body"
    assert after.posterior > before.posterior


def test_a_body_nobody_tested_on_is_feared_though_others_agree():
    reports = [sweep(n, 8, body=("one", "two")[n % 2]) for n in range(6)] + [sweep("x", 4, body="one")]
    tested, untested = (answer(PRIME, reports, Question(720, 50, body=b), [8]) for b in ("two", "three"))
    width = [said.limit_av.high - said.limit_av.low for said in (tested, untested)]
    assert width[1] > width[0] + 0.1


def test_a_cell_strays_from_what_is_pooled_as_far_as_the_evidence_is_not_its_own():
    assert cell_departure(np.array([7]), 0) == 0
    assert cell_departure(np.array([3, 3]), 0) == pytest.approx(0.5**0.5)
    assert cell_departure(np.array([0, 5]), 0) == pytest.approx(2**0.5)
    draws = np.random.default_rng(1).normal(size=(4, 100_000))
    share = np.array([1, 2, 3, 4]) / 10
    assert cell_departure(np.array([1, 2, 3, 4]), 2) == pytest.approx(
        (draws[2] - share @ draws).std(), abs=0.01
    )


def test_a_question_without_cut_on_is_about_all_reports():
    reports = [sweep(n, 8, cut_on_nm=(590, 830)[n % 2]) for n in range(6)]
    said = answer(PRIME, reports, Question(), [8])
    assert said.n_independent == 6
    assert said.p_clean[8] > 0.7


def test_a_level_that_could_tell_nothing_is_never_weighed_and_no_other_is_lost():
    levels = ["odd", "odd", *(f"copy {n}" for n in range(30)), None, "copy 0"]
    reports = [sweep(n, 8, copy=level) for n, level in enumerate(levels)]
    clusters = np.array([*range(len(levels) - 1), 5])  # the last stands on two sides: its own control
    tried = [contrast.level for contrast in contrasts_of(reports, clusters) if contrast.factor == "copy"]
    assert tried == sorted(level for level in set(levels) - {None} if _could_tell(level, levels, clusters))
    assert tried


def _could_tell(level, levels, clusters) -> bool:
    here = {cluster for cluster, own in zip(clusters.tolist(), levels, strict=True) if own == level}
    others = {cluster for cluster, own in zip(clusters.tolist(), levels, strict=True) if own != level}
    return bool(here & others) or min(len(here), len(others)) >= CAUSE_SIDE_COUNT
