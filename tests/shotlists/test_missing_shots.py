"""What is named as missing from what was taken."""

import pytest

from registry.shotlists.facts import CameraFacts, LensFacts
from registry.shotlists.missing import Taken, missing_shots
from registry.shotlists.shot_list import shot_list_for

PRIME = LensFacts(50, 50, 2.8, 2.8, 16)
ZOOM = LensFacts(24, 70, 3.5, 4.5, 22)


def taken_in_full(shots, *, focal=1.0, stop=1.0):
    """All that a list asks for, as a camera writes it."""
    frames = [
        Taken(one.f_number * stop, place.recorded_mm * focal)
        for place in shots.set_ups
        for one in place.stops
        for _ in range(one.frames)
    ]
    at = shots.working_f_number * stop
    controls = [Taken(at, length, "control") for length in shots.control.focal_lengths_mm]
    return [*frames, *controls, Taken(8.0, 50, "proof")]


def said(missing):
    return [one.says for one in missing]


def test_nothing_is_missing_from_a_list_that_was_shot_in_full():
    for lens in (PRIME, ZOOM):
        shots = shot_list_for(lens, CameraFacts("full-spectrum", has_filter=True))
        assert missing_shots(shots, taken_in_full(shots)) == ()


def test_each_stop_that_is_not_there_is_named_with_its_focal_length():
    shots = shot_list_for(ZOOM)
    frames = [one for one in taken_in_full(shots) if (one.f_number, one.focal_length_mm) != (8.0, 24.0)]
    assert said(missing_shots(shots, frames)) == ["f/8 at 24 mm"]


def test_a_missing_repeat_is_counted():
    shots = shot_list_for(PRIME)
    frames = [Taken(one.f_number) for one in shots.set_ups[0].stops] + [Taken(8.0, purpose="proof")]
    assert said(missing_shots(shots, frames)) == ["2 of 3 frames of f/8"]


def test_a_prime_needs_no_focal_length():
    shots = shot_list_for(PRIME)
    frames = [Taken(one.f_number, None, one.purpose) for one in taken_in_full(shots)]
    assert missing_shots(shots, frames) == ()


def test_a_frame_without_an_f_number_is_no_shot_of_the_list():
    shots = shot_list_for(PRIME)
    assert len(missing_shots(shots, [Taken(None, 50)] * 40)) == len(shots.set_ups[0].stops) + 1


def test_the_widest_stop_that_a_zoom_really_has_counts_for_the_estimated_one():
    shots = shot_list_for(ZOOM)
    middle = shots.set_ups[1]
    assert middle.stops[0].f_number == 4
    frames = [
        Taken(4.2, one.focal_length_mm) if (one.f_number, one.focal_length_mm) == (4, 41) else one
        for one in taken_in_full(shots)
    ]
    assert missing_shots(shots, frames) == ()


@pytest.mark.parametrize("focal", [38.5, 41, 43])
def test_a_zoom_ring_set_near_the_middle_counts_for_the_middle(focal):
    shots = shot_list_for(ZOOM)
    frames = [
        Taken(one.f_number, focal if one.focal_length_mm == 41 else one.focal_length_mm, one.purpose)
        for one in taken_in_full(shots)
    ]
    assert missing_shots(shots, frames) == ()


def test_a_focal_length_between_two_set_ups_counts_for_neither():
    shots = shot_list_for(ZOOM)
    assert missing_shots(shots, [Taken(8.0, 30)]) == missing_shots(shots, [])


@pytest.mark.parametrize("magnification", [1.4, 2.0, 0.71])
@pytest.mark.parametrize("knows_of_glass", [True, False])
def test_frames_through_a_teleconverter_are_recognised_whatever_the_camera_writes(
    magnification, knows_of_glass
):
    shots = shot_list_for(LensFacts(70, 200, 2.8, 2.8, 22, magnification=magnification))
    factor = 1 if knows_of_glass else 1 / magnification
    assert missing_shots(shots, taken_in_full(shots, focal=factor, stop=factor)) == ()


def test_a_control_at_any_stop_will_do():
    shots = shot_list_for(PRIME, CameraFacts("full-spectrum"))
    without = [one for one in taken_in_full(shots) if one.purpose != "control"]
    assert said(missing_shots(shots, without)) == ["the control in visible light"]
    assert missing_shots(shots, [*without, Taken(16.0, 50, "control")]) == ()
