"""What a field card says."""

import pytest

from registry.bags.card import card_lines, limits_of, sheet_size
from registry.bags.contents import Bag, BagBody, Carried
from registry.bags.planning import plan_for
from registry.bags.queries import lenses_of, packed
from registry.bags.ranges import zones_of_lenses
from registry.kits.bag import FrontFilter, Ring
from tests.bags.standings import standing
from tests.factories import LensFactory

pytestmark = pytest.mark.django_db


def lines_of(bag, cut_on_nm=720.0):
    pairs = lenses_of(bag)
    zones = zones_of_lenses([lens for lens, _ in pairs], cut_on_nm=cut_on_nm)
    plan = plan_for(bag, pairs, bag.need(cut_on_nm, (cut_on_nm,)), max_alternatives=0)
    return card_lines(packed(bag, (cut_on_nm,), 0.1), zones, plan, cut_on_nm)


def limits(lens):
    return [
        (limit.focal, limit.says, limit.confidence)
        for limit in limits_of(lens, zones_of_lenses([lens], cut_on_nm=720)[lens.pk])
    ]


def test_a_line_names_the_clean_limit_the_filter_and_the_ring():
    small, large = LensFactory(filter_thread_mm=49), LensFactory(filter_thread_mm=67)
    standing(small, 8)
    bag = Bag(
        lenses=(Carried(small.slug), Carried(large.slug)),
        filters=(FrontFilter(720.0, 67.0),),
        rings=(Ring(49.0, 67.0),),
    )
    first, second = lines_of(bag)
    assert [(limit.says, limit.confidence) for limit in first.limits] == [("f/8", "fair")]
    assert (first.filter, first.rings, first.to_get) == ("67 mm", "49→67", False)
    assert second.limits[0].says == "not tested"
    assert (second.filter, second.rings) == ("67 mm", "")


def test_what_is_not_in_the_bag_yet_is_marked():
    lens = LensFactory(filter_thread_mm=67)
    assert lines_of(Bag(lenses=(Carried(lens.slug),)))[0].to_get


def test_a_camera_that_needs_no_filter_leaves_the_filter_out():
    lens = LensFactory()
    bag = Bag(lenses=(Carried(lens.slug),), bodies=(BagBody("Causey", 720.0),))
    assert (lines_of(bag)[0].filter, lines_of(bag)[0].note) == ("", "none needed")
    assert lines_of(bag, 665.0)[0].note == "out of reach"


def test_a_lens_without_a_front_thread_says_what_it_takes_instead():
    rear = LensFactory(filter_thread_mm=None, filter_seat="rear-holder")
    unknown = LensFactory(filter_thread_mm=None)
    lines = lines_of(Bag(lenses=(Carried(rear.slug), Carried(unknown.slug))))
    assert [line.note for line in lines] == ["rear holder", "thread?"]


def test_focal_zones_that_say_the_same_are_one_line():
    zoom = LensFactory(zoom=True, name="Marram 24-70 mm f/2.8-4")
    standing(zoom, 8, zone="23-33")
    standing(zoom, 8, zone="33-47")
    standing(zoom, 4, zone="47-66", verdict="one-report", confidence="tentative")
    assert limits(zoom) == [
        ("24–47 mm", "f/8", "fair"),
        ("47–66 mm", "f/4", "one report"),
        ("66–70 mm", "not tested", ""),
    ]


def test_a_lens_that_is_clean_nowhere_says_so_in_words():
    lens = LensFactory()
    standing(lens, None)
    assert limits(lens) == [("35 mm", "never clean", "fair")]


def test_the_more_lines_the_smaller_the_type():
    lens = LensFactory()
    (line,) = lines_of(Bag(lenses=(Carried(lens.slug),)))
    assert [sheet_size([line] * count) for count in (3, 20, 40)] == ["large", "middle", "small"]
