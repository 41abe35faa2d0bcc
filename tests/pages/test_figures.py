"""The figures' geometry, from plain numbers."""

import math
from dataclasses import dataclass
from itertools import pairwise

import pytest

from registry.optics.stops import f_number_of
from registry.pages import figures, plots


@dataclass
class Stop:
    f_number: float
    p_clean: float | None = None
    low: float | None = None
    high: float | None = None
    tested: bool = True
    on_ladder: bool = True


LADDER = [Stop(2, 0.97, 0.9, 0.99), Stop(4, 0.8, 0.6, 0.95), Stop(8, 0.3, 0.1, 0.6), Stop(16, tested=False)]


def test_the_filled_part_of_a_step_is_the_chance():
    drawn = figures.ladder(LADDER)
    shares = [step.fill_height / drawn.size.height for step in drawn.steps]
    assert shares == pytest.approx([0.97, 0.8, 0.3, 0], abs=1e-3)
    assert all(step.fill_y + step.fill_height == pytest.approx(drawn.base) for step in drawn.steps)


def test_steps_run_from_the_widest_to_the_narrowest_without_touching():
    steps = figures.ladder(LADDER).steps
    assert [step.mark for step in steps] == ["f/2", "f/4", "f/8", "f/16"]
    assert all(after.x - before.x > figures.LARGE.step for before, after in pairwise(steps))


def test_an_untested_stop_claims_no_chance():
    step = figures.ladder(LADDER).steps[-1]
    assert (step.tested, step.percent, step.fill_height, step.hair_above, step.hair_inside) == (
        False,
        None,
        0,
        "",
        "",
    )


def test_a_chance_is_never_shown_as_certain():
    steps = figures.ladder([Stop(2, 0.9999, 0.99, 1.0), Stop(4, 0.0001, 0.0, 0.01)]).steps
    assert [step.percent for step in steps] == [99, 1]
    assert (steps[0].high_percent, steps[1].low_percent) == (99, 1)


def test_stops_between_the_rungs_are_left_out():
    between = [Stop(2, 0.9, 0.8, 0.95), Stop(2.5, 0.9, 0.8, 0.95, on_ladder=False), Stop(2.8, 0.8, 0.7, 0.9)]
    assert [step.mark for step in figures.ladder(between).steps] == ["f/2", "f/2.8"]


def test_the_bracket_spans_the_stops_that_the_verdict_states():
    drawn = figures.ladder(LADDER, clean_to=4)
    assert drawn.bracket == (drawn.steps[0].x, drawn.steps[1].x + drawn.size.step)


@pytest.mark.parametrize(
    ("verdict", "f_number", "limit"),
    [
        ("clean-to", 4, 4),
        ("clean-as-far-as-tested", 8, 8),
        ("clean-throughout", None, 16),
        ("never-clean", None, None),
        ("reports-differ", None, None),
        ("one-report", 4, None),
        ("no-reports", None, None),
    ],
)
def test_only_verdicts_that_state_clean_stops_get_a_bracket(verdict, f_number, limit):
    assert figures.stated_limit(verdict, f_number, LADDER) == limit


def test_a_higher_chance_has_a_deeper_shade():
    chances = [Stop(2, p, p, p) for p in (0.05, 0.2, 0.4, 0.6, 0.7, 0.9)]
    assert [step.shade for step in figures.ladder(chances).steps] == [0, 1, 2, 3, 4, 5]


def test_small_labels_do_not_run_into_each_other():
    for last_clean in range(7):
        stops = [Stop(round(f_number_of(av), 1), 0.9, 0.8, 0.95) for av in range(7)]
        labels = figures.ladder(stops, clean_to=stops[last_clean].f_number, small=True).labels
        places = [label.x for label in labels]
        assert all(b - a > 24 for a, b in pairwise(places)), last_clean
        assert stops[last_clean].f_number in [float(label.mark[2:]) for label in labels]


def test_a_ladder_without_stops_is_empty():
    drawn = figures.ladder([])
    assert (drawn.steps, drawn.bracket, drawn.labels, drawn.tested_any) == ((), None, (), False)


def test_full_stops_stand_equally_far_apart_on_the_aperture_axis():
    """Full stops are N = 2^(k/2) (ISO 517), so an axis of Av spaces them evenly."""
    drawn = plots.sweep_plot([(f, 0.1, 0.02) for f in (2, 2.8, 4, 5.6, 8, 11, 16)], visible_ev=0.1)
    gaps = [b.x - a.x for a, b in pairwise(drawn.points)]
    assert gaps == pytest.approx([gaps[0]] * len(gaps), abs=0.02)


def test_whiskers_reach_95_percent_to_either_side():
    """1.96 standard errors hold 95 % of a normal distribution (ISO 3534-1)."""
    point = plots.sweep_plot([(8, 0.2, 0.05)], visible_ev=0.1).points[0]
    axis = plots.sweep_plot([(8, 0.2, 0.05), (8, 0.298, 0.0001)], visible_ev=0.1)
    high = next(p for p in axis.points if p.y == min(q.y for q in axis.points))
    assert point.y - point.high_y == pytest.approx(point.low_y - point.y, abs=0.02)
    assert axis.points[0].high_y == pytest.approx(high.y, abs=0.05)


@pytest.mark.parametrize(("low", "high"), [(0, 1), (-0.05, 0.4), (0, 0.22), (-0.1, 3.7), (0, 0.92)])
def test_ticks_are_few_round_and_inside(low, high):
    ticks = plots.even_ticks(low, high)
    assert 3 <= len(ticks) <= 7
    assert low - 1e-9 <= min(ticks) and max(ticks) <= high + 1e-9


def test_the_circle_is_placed_in_half_diagonals():
    drawn = plots.overlay(600, 400, centre=(0.1, -0.05), radius=0.2)
    half_diagonal = math.hypot(600, 400) / 2
    assert (drawn.x, drawn.y) == pytest.approx(
        (300 + 0.1 * half_diagonal, 200 - 0.05 * half_diagonal), abs=0.05
    )
    assert drawn.radius == pytest.approx(0.2 * half_diagonal, abs=0.05)


# ---- ladders under each other --------------------------------------------------------------------


def rungs(*f_numbers):
    return [Stop(f_number, 0.5, 0.4, 0.6, True) for f_number in f_numbers]


def test_on_a_common_scale_one_stop_is_at_one_place():
    fast, slow = rungs(0.95, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16), rungs(4, 5.6, 8, 11, 16, 22, 32)
    scale = figures.common_scale([fast, slow])
    drawn = [figures.ladder(chances, small=True, scale=scale) for chances in (fast, slow)]
    places = [{step.mark: step.x for step in one.steps} for one in drawn]
    assert {mark: places[0][mark] for mark in ("f/4", "f/8", "f/16")} == {
        mark: places[1][mark] for mark in ("f/4", "f/8", "f/16")
    }
    assert drawn[0].width == drawn[1].width


def test_a_widest_value_between_stops_takes_the_place_before_the_first_full_one():
    scale = figures.common_scale([rungs(1.8, 2, 2.8, 4), rungs(1.4, 2, 2.8, 4)])
    first = [
        figures.ladder(chances, small=True, scale=scale).steps[0].x
        for chances in (rungs(1.8, 2, 2.8, 4), rungs(1.4, 2, 2.8, 4))
    ]
    assert first[0] == first[1]


def test_labels_stand_under_their_steps_on_a_common_scale():
    scale = figures.common_scale([rungs(1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16)])
    drawn = figures.ladder(rungs(4, 5.6, 8, 11), small=True, scale=scale)
    assert drawn.labels[0].x == drawn.steps[0].x
    assert drawn.labels[-1].x == drawn.steps[-1].x + drawn.size.step


def test_no_ladder_needs_no_scale():
    assert figures.common_scale([[], []]) is None
