"""What a photographer is asked to shoot. Full stops: the series of ISO 517; the rest is common practice, no source."""

import pytest

from registry.errors import InvalidInput
from registry.optics.stops import exact_av
from registry.shotlists.facts import CameraFacts, LensFacts
from registry.shotlists.shot_list import shot_list_for


def prime(focal=50.0, widest=1.8, narrowest=22.0, **more):
    return LensFacts(focal, focal, widest, widest, narrowest, **more)


def zoom(short=24.0, long=70.0, widest=2.8, widest_tele=2.8, narrowest=22.0, **more):
    return LensFacts(short, long, widest, widest_tele, narrowest, **more)


def stops_of(lens, place=0):
    return [stop.f_number for stop in shot_list_for(lens).set_ups[place].stops]


def test_every_full_stop_from_the_widest_to_the_narrowest_is_asked_for():
    assert stops_of(prime(widest=2.8)) == [2.8, 4, 5.6, 8, 11, 16, 22]


def test_a_widest_stop_between_the_marks_is_taken_as_it_is():
    assert stops_of(prime(widest=0.95, narrowest=16)) == [0.95, 1.4, 2, 2.8, 4, 5.6, 8, 11, 16]


@pytest.mark.parametrize("widest", [0.95, 1.2, 1.4, 1.8, 1.9, 2, 2.5, 2.8, 3.5, 4, 4.5, 4.8, 5.6, 6.3, 8])
def test_wide_open_and_the_frame_two_stops_down_are_always_among_them(widest):
    stops = shot_list_for(prime(widest=widest, narrowest=32)).set_ups[0].stops
    assert stops[0].f_number == widest and "widest" in stops[0].why
    [down] = [stop for stop in stops if "two stops down" in stop.why]
    assert exact_av(down.f_number) - exact_av(widest) == pytest.approx(2, abs=0.17)


def test_a_lens_that_does_not_close_by_two_stops_says_so():
    shots = shot_list_for(prime(500, widest=8, narrowest=8))
    assert [stop.f_number for stop in shots.set_ups[0].stops] == [8]
    assert any("does not close by two stops" in note for note in shots.notes)


def test_a_zoom_is_tested_at_both_ends_and_the_middle_of_its_range_on_a_log_scale():
    # √(24 · 70) = 40.99; √(100 · 400) = 200
    assert [place.focal_length_mm for place in shot_list_for(zoom()).set_ups] == [24, 41, 70]
    assert [place.focal_length_mm for place in shot_list_for(zoom(100, 400)).set_ups] == [100, 200, 400]


def test_a_zoom_of_hardly_any_range_has_no_middle():
    assert [place.focal_length_mm for place in shot_list_for(zoom(10, 11)).set_ups] == [10, 11]


def test_the_widest_stop_between_the_ends_of_a_zoom_is_estimated_and_said_to_be():
    shots = shot_list_for(zoom(70, 300, widest=4.5, widest_tele=5.6, narrowest=32))
    short, middle, long = shots.set_ups
    assert [place.stops[0].f_number for place in shots.set_ups] == [4.5, 5.0, 5.6]
    assert (short.widest_estimated, middle.widest_estimated, long.widest_estimated) == (False, True, False)
    assert any("at 145 mm" in note.casefold() and "about f/5" in note for note in shots.notes)


def test_one_stop_is_repeated_twice_for_the_whole_evening_and_not_wide_open():
    shots = shot_list_for(zoom())
    repeated = [
        (place.focal_length_mm, stop) for place in shots.set_ups for stop in place.stops if stop.frames > 1
    ]
    [(focal, stop)] = repeated
    assert (focal, stop.f_number, stop.frames) == (41, 8, 3)
    assert shot_list_for(prime(widest=8, narrowest=22)).set_ups[0].stops[0].frames == 1


def test_an_unknown_narrowest_stop_is_taken_for_f22_and_said_to_be():
    shots = shot_list_for(prime(narrowest=None))
    assert shots.set_ups[0].stops[-1].f_number == 22
    assert any("not in the catalogue" in note and "f/22" in note for note in shots.notes)


def test_the_shutter_doubles_its_time_with_every_full_stop():
    stops = shot_list_for(prime(widest=2.8)).set_ups[0].stops
    assert [stop.longer_ev for stop in stops] == [0, 1, 2, 3, 4, 5, 6]


def test_between_marks_the_shutter_changes_by_parts_of_a_stop():
    # f/1.9: Av = 2 log2 1.9 = 1.852 (APEX), so that f/2.8 (Av 3) is 1.148 stops down
    stops = shot_list_for(prime(widest=1.9)).set_ups[0].stops
    assert stops[1].longer_ev == pytest.approx(1.148, abs=0.001)


def test_a_teleconverter_multiplies_focal_lengths_and_f_numbers():
    shots = shot_list_for(prime(135, 1.8, 22, magnification=2.0))
    place = shots.set_ups[0]
    assert (place.focal_length_mm, place.recorded_mm) == (135, 270)
    assert (place.stops[0].f_number, place.stops[-1].f_number) == (3.5, 45)
    assert any("divide" in note for note in shots.notes)


def test_a_full_spectrum_body_is_asked_for_a_control_at_every_focal_length():
    shots = shot_list_for(zoom(), CameraFacts("full-spectrum", has_filter=True, cut_on_nm=720))
    assert (shots.control.focal_lengths_mm, shots.working_f_number) == ((24, 41, 70), 8)
    assert shots.frames == shots.target_frames + 3 + 1


def test_a_long_pass_conversion_cannot_take_a_control_and_the_list_says_why():
    control = shot_list_for(prime(), CameraFacts("long-pass", cut_on_nm=720)).control
    assert not control.possible and not control.focal_lengths_mm
    assert "720 nm" in control.says and "known to be clean" in control.says


def test_an_unconverted_body_takes_its_control_without_the_filter():
    assert shot_list_for(prime(), CameraFacts("unconverted", has_filter=True)).control.possible


def test_a_camera_that_sees_no_infrared_is_pointed_out():
    shots = shot_list_for(prime(), CameraFacts("unconverted", sees_infrared=False))
    assert any("visible light" in note for note in shots.notes)


def test_a_zoom_of_three_set_ups_takes_longer_than_a_prime_and_both_fit_an_evening():
    assert 15 <= shot_list_for(prime()).minutes < shot_list_for(zoom()).minutes <= 60


@pytest.mark.parametrize(
    "facts",
    [(70, 24, 2.8, 2.8), (0, 24, 2.8, 2.8), (24, 70, 0.1, 2.8), (24, 70, 2.8, 99)],
)
def test_facts_that_no_lens_has_are_refused(facts):
    with pytest.raises(InvalidInput):
        LensFacts(*map(float, facts))
