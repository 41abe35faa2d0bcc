"""What separates a lens's reports, and what holds on either side of it."""

import pytest

from registry.standings.queries import conditions_of, lens_answer, named_causes
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, BodyFactory, LensFactory
from tests.report_factories import CopyFactory, RigFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(widest_f=2, narrowest_f=16)


def told(lens, **asked):
    refresh_lens(lens)
    said = lens_answer(lens, **asked)
    return {one.side: one.words for one in conditions_of(said)}


def several(lens, limit, count=5, **fields):
    return [report_on(lens, limit=limit, **fields) for _ in range(count)]


def test_where_the_filter_sat_parts_the_reports(lens):
    several(lens, 4, filter_position="front")
    several(lens, 11, filter_position="rear")
    assert told(lens) == {
        "with the filter in front of the lens": "clean to f/4",
        "with the filter behind the lens": "clean to f/11",
    }


def test_of_more_than_two_places_one_stands_against_the_rest(lens):
    several(lens, 4, filter_position="front")
    several(lens, 11, 3, filter_position="rear")
    several(lens, 11, 3, filter_position="clip-in")
    assert told(lens) == {
        "with the filter in front of the lens": "clean to f/4",
        "with the filter elsewhere": "clean to f/11",
    }


def test_longer_wavelengths_are_told_apart_from_shorter_ones(lens):
    several(lens, 11, cut_on_nm=665)
    several(lens, 4, cut_on_nm=830)
    assert told(lens) == {"at 830 nm": "clean to f/4", "at 665 nm": "clean to f/11"}


def test_the_ends_of_a_zoom_are_told_apart():
    zoom = LensFactory(focal_min_mm=24, focal_max_mm=70, widest_f=2.8, widest_f_tele=2.8, narrowest_f=16)
    grades = {4: 0, 5.6: 0, 8: 0, 11: 0, 16: 3}
    several(zoom, 11, focal_mm=24, grades=grades)
    several(zoom, 4, focal_mm=70, grades={4: 0, 5.6: 3, 8: 3, 11: 3, 16: 3})
    assert told(zoom) == {"at 70 mm": "clean to f/4", "at 24 mm": "clean to f/11"}


def test_a_body_is_named_as_people_know_it(lens):
    odd, usual, third = (BodyFactory(name=name) for name in ("Causey 2", "Causey 3", "Causey 4"))
    for body, limit in ((odd, 4), (usual, 11), (third, 11)):
        for author in AccountFactory.create_batch(4):
            report_on(lens, limit=limit, author=author, rig=RigFactory(owner=author, body=body))
    assert told(lens) == {f"on {odd}": "clean to f/4", "on other bodies": "clean to f/11"}


def test_a_bad_copy_is_told_apart_without_naming_it(lens):
    bad = CopyFactory(lens=lens, label="with the dent")
    several(lens, 2.8, 3, copy=bad)
    for _ in range(6):
        report_on(lens, limit=11, copy=CopyFactory(lens=lens))
    assert told(lens) == {
        "with one of the copies tested": "clean to f/2.8",
        "with the other copies": "clean to f/11",
    }


def test_chances_are_given_for_every_tested_stop_under_both_conditions(lens):
    several(lens, 4, filter_position="front")
    several(lens, 11, filter_position="rear")
    refresh_lens(lens)
    front, rear = conditions_of(lens_answer(lens))
    assert [stop.f_number for stop in front.stops] == [2, 2.8, 4, 5.6, 8, 11, 16]
    for worse, better in zip(front.stops, rear.stops, strict=True):
        assert better.p_clean >= worse.p_clean
    assert (front.f_number, rear.f_number) == (4, 11)


def test_a_readers_own_tolerance_is_answered_for(lens):
    several(lens, 4, filter_position="front")
    several(lens, 11, filter_position="rear")
    assert told(lens, visible_ev=0.2)["with the filter behind the lens"] == "clean to f/11"


def test_reports_that_agree_have_no_sides(lens):
    several(lens, 8, filter_position="front")
    several(lens, 8, filter_position="rear")
    assert told(lens) == {}


def test_an_untested_cut_on_is_not_answered_from_a_split_elsewhere(lens):
    several(lens, 4, filter_position="front")
    several(lens, 11, filter_position="rear")
    assert told(lens, cut_on_nm=590) == {}


def cause(factor="filter_position", posterior=0.8, group_a="front", group_b="the others"):
    odds = posterior / (1 - posterior)
    return {
        "factor": factor,
        "posterior": posterior,
        "odds": odds,
        "effect_stops": -2.0,
        "group_a": group_a,
        "group_b": group_b,
    }


def test_a_cause_is_said_in_words_and_with_its_strength():
    causes = [cause(), cause("method", 0.3, "measured", "visual"), cause("body", 0.05, "no-such", "x")]
    likely, possible = named_causes(causes)
    assert (likely.words, likely.likely) == ("where the filter sat", True)
    assert likely.sides == ("in front of the lens", "elsewhere")
    assert (possible.sides, possible.likely) == (("measured from frames", "graded by eye"), False)


def test_a_body_since_removed_keeps_its_slug():
    assert named_causes([cause("body", 0.4, "gone-body", "the others")])[0].sides[0] == "gone-body"


def test_light_without_a_single_cut_on_is_called_by_its_group():
    named = named_causes([cause("cut_on", 0.9, "full-spectrum", "other cut-ons")])
    assert named[0].sides == ("full spectrum, unfiltered", "other cut-ons")
