"""F-numbers against the published series and the trade's marks."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.errors import InvalidInput
from registry.optics.stops import (
    FULL_STOPS,
    av_of,
    check_f_number,
    exact_av,
    f_number_of,
    full_stops_between,
    marked_stop,
    nearest_marks,
    same_stop,
    typed_f_number,
)


def test_full_stops_are_the_series_of_iso_517():
    # ISO 517: 1 1.4 2 2.8 4 5.6 8 11 16 22 32 = 2^(k/2); Av = k (APEX).
    series = [1, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 32]
    assert [exact_av(mark) for mark in series] == list(range(11))
    assert [float(stop.mark) for stop in FULL_STOPS[1:12]] == series


@pytest.mark.parametrize(
    ("mark", "av"), [(1.8, 5 / 3), (3.2, 10 / 3), (6.3, 16 / 3), (9, 19 / 3), (13, 22 / 3)]
)
def test_third_stops_are_exact_thirds(mark, av):
    # Camera displays; common practice, no source.
    assert exact_av(mark) == pytest.approx(av)


@pytest.mark.parametrize(
    ("mark", "av"), [(1.7, 1.5), (2.4, 2.5), (4.8, 4.5), (6.7, 5.5), (9.5, 6.5), (19, 8.5)]
)
def test_half_stops_are_exact_halves(mark, av):
    # Camera displays; common practice, no source.
    assert exact_av(mark) == pytest.approx(av)


def test_a_mark_never_strays_far_from_the_stop_it_rounds():
    # Two rounded figures can hide at most about a tenth of a stop: 5.6 for 5.657, 1.1 for 1.122, 3.6 for 3.564.
    for figure in (0.7, 1.1, 1.2, 1.4, 1.6, 2.2, 2.5, 3.5, 3.6, 5.6, 7.1, 11, 13, 22, 45):
        assert abs(av_of(figure) - exact_av(figure)) < 0.12


def test_a_figure_of_two_scales_means_the_stop_it_rounds_more_closely():
    assert exact_av(1.2) == pytest.approx(1 / 2)  # f/1.19, not f/1.26
    assert exact_av(13) == pytest.approx(22 / 3)  # f/12.7, not f/13.45


def test_two_markings_of_one_third_stop_are_equal():
    assert same_stop(3.5, 3.6)
    assert same_stop(7.1, 7.2)
    assert not same_stop(3.5, 3.2)


@pytest.mark.parametrize("value", [0.95, 1.9, 2.7, 6.1])
def test_values_between_the_marks_are_not_marked_stops(value):
    assert marked_stop(value) is None


def test_a_typed_value_off_the_marks_is_questioned_with_the_nearest_named():
    with pytest.raises(InvalidInput) as refused:
        typed_f_number(3.0)
    problem = refused.value.first
    assert problem.code == "f-number-not-marked"
    assert "f/2.8" in problem.remedy
    assert "f/3.2" in problem.remedy


@pytest.mark.parametrize("own", [0.95, 1.9, 4.8])
def test_the_lens_s_own_widest_value_is_taken_as_typed(own):
    assert typed_f_number(own, own_values=(own,)) == own


@pytest.mark.parametrize("value", [0, -4, 0.5, 65, math.nan, math.inf, "eight", None])
def test_what_is_no_f_number_is_refused_with_the_value(value):
    with pytest.raises(InvalidInput) as refused:
        check_f_number(value)
    assert str(value) in refused.value.first.says


@given(st.floats(-1, 12))
def test_av_and_f_number_undo_each_other(av):
    assert av_of(f_number_of(av)) == pytest.approx(av, abs=1e-12)


@given(st.floats(0.7, 64))
def test_the_nearest_marks_are_within_a_sixth_of_a_stop(value):
    nearest = nearest_marks(value)[0]
    assert abs(float(nearest.av) - av_of(value)) <= 1 / 6 + 1e-9


def test_a_ladder_runs_from_the_lens_s_widest_over_full_stops_to_its_narrowest():
    assert full_stops_between(1.9, 16) == [1.9, 2.8, 4, 5.6, 8, 11, 16]
    assert full_stops_between(4.8, 22) == [4.8, 5.6, 8, 11, 16, 22]
    assert full_stops_between(8, 8) == [8]
