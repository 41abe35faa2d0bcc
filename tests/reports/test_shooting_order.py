"""F-numbers by the order of shooting. Marks of full, half and third stops: ISO 517 as in registry.optics.stops."""

import pytest

from registry.errors import InvalidInput
from registry.reports.models import SampleImage
from registry.reports.rules import contents
from registry.reports.rules.planning import Camera, plan_of
from registry.reports.rules.shooting_order import check_fits, in_shooting_order, read_run, run_of_list
from tests.factories import LensFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def tested():
    return contents.Tested(LensFactory(widest_f=2.8, narrowest_f=22))


def f_numbers(tested, **sent):
    return [shot.f_number for shot in read_run({"first": "2.8", "last": "22"} | sent, tested)]


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        ("full", [2.8, 4, 5.6, 8, 11, 16, 22]),
        ("half", [2.8, 3.3, 4, 4.8, 5.6, 6.7, 8, 9.5, 11, 13, 16, 19, 22]),
        (
            "third",
            [2.8, 3.2, 3.5, 4, 4.5, 5, 5.6, 6.3, 7.1, 8, 9, 10, 11, 13, 14, 16, 18, 20, 22],
        ),
    ],
)
def test_a_run_goes_down_the_scale_in_full_half_or_third_stops(tested, step, expected):
    assert f_numbers(tested, step=step) == expected


def test_a_run_can_begin_at_the_narrow_end(tested):
    assert f_numbers(tested, first="16", last="4") == [16, 11, 8, 5.6, 4]


def test_repeats_come_in_a_row_or_run_after_run(tested):
    twice = {"first": "4", "last": "8", "repeats": "2"}
    assert f_numbers(tested, **twice) == [4, 4, 5.6, 5.6, 8, 8]
    assert f_numbers(tested, **twice, repeated="run-after-run") == [4, 5.6, 8, 4, 5.6, 8]


def test_a_lens_s_own_widest_value_begins_a_run():
    tested = contents.Tested(LensFactory(widest_f=1.9, narrowest_f=16))
    assert f_numbers(tested, first="1.9", last="8") == [1.9, 2.8, 4, 5.6, 8]


@pytest.mark.parametrize(
    ("wrong", "field", "code"),
    [
        ({"first": ""}, "first", "missing"),
        ({"last": "7.7"}, "last", "f-number-not-marked"),
        ({"first": "1.4"}, "first", "wider-than-the-lens-opens"),
        ({"step": "quarter"}, "step", "not-a-choice"),
        ({"repeats": "0"}, "repeats", "number-out-of-range"),
        ({"repeats": "1.5"}, "repeats", "not-a-whole-number"),
    ],
)
def test_a_run_that_makes_no_sense_is_refused_where_it_does_not(tested, wrong, field, code):
    with pytest.raises(InvalidInput) as refused:
        f_numbers(tested, **wrong)
    assert (refused.value.first.field, refused.value.first.code) == (field, code)


def test_a_run_must_have_as_many_shots_as_there_are_frames(tested):
    run = read_run({"first": "2.8", "last": "22"}, tested)
    check_fits(run, 7)
    with pytest.raises(InvalidInput) as refused:
        check_fits(run, 8)
    assert "are 7 frames, and 8 are chosen" in refused.value.first.says


def frame(name, taken_at=None):
    return SampleImage(file_name=name, exif={"taken_at": taken_at})


def names_in_order(*frames):
    return [image.file_name for image in in_shooting_order(frames)]


def test_numbers_in_names_count_as_numbers():
    assert names_in_order(frame("DSC_10.jpg"), frame("dsc_9.jpg")) == ["dsc_9.jpg", "DSC_10.jpg"]


def test_a_camera_s_clock_goes_before_its_counter_which_may_have_begun_anew():
    late, early = frame("DSC_0001.jpg", "2026-05-09T14:31:00"), frame("DSC_9999.jpg", "2026-05-09T14:30:00")
    assert names_in_order(late, early) == ["DSC_9999.jpg", "DSC_0001.jpg"]


def test_without_a_time_in_every_frame_the_counter_decides():
    assert names_in_order(frame("2.jpg", "2026-05-09T14:30:00"), frame("1.jpg")) == ["1.jpg", "2.jpg"]


def test_frames_of_one_second_stay_in_the_order_of_their_names():
    moment = "2026-05-09T14:30:00"
    assert names_in_order(frame("b.jpg", moment), frame("a.jpg", moment)) == ["a.jpg", "b.jpg"]


def test_the_shot_list_s_own_order_names_the_focal_lengths_too():
    shot_list = plan_of(lens=LensFactory(zoom=True), camera=Camera()).shot_list
    run = run_of_list(shot_list)
    assert len(run) == shot_list.target_frames
    assert (run[0].f_number, run[0].focal_length_mm) == (2.8, 24)
    assert (run[-1].f_number, run[-1].focal_length_mm) == (22, 70)
