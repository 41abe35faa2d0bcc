"""A bag as a value: what goes in, what is refused, and what two bags make together."""

import json

import pytest

from registry.bags.contents import MOST_LENSES, Bag, BagBody, Carried
from registry.bags.stored import read, written
from registry.errors import InvalidInput, TooLarge
from registry.kits.bag import FrontFilter, Prices, Ring

FULL = Bag(
    lenses=(Carried("marram-50"), Carried("marram-20", "considered", True)),
    cut_ons_nm=(720.0, 830.0),
    bodies=(BagBody("Causey 5", 590.0), BagBody()),
    filters=(FrontFilter(720.0, 67.0),),
    rings=(Ring(49.0, 67.0), Ring(49.0, 67.0)),
    prices=Prices({FrontFilter(720.0, 77.0): "70.00"}, "9.00", {Ring(49.0, 77.0): "9.90"}, "EUR"),
    use={"frames": 3, "unnamed": 0, "lenses": []},
)


def test_a_bag_comes_back_from_json_as_it_was():
    assert read(json.loads(json.dumps(written(FULL)))) == FULL


def test_a_lens_is_in_a_bag_once_however_often_it_is_put_in():
    bag = Bag().with_lens(Carried("marram-50")).with_lens(Carried("marram-20"))
    again = bag.with_lens(Carried("marram-50", "considered"))
    assert again.slugs == ("marram-50", "marram-20")
    assert again.lenses[0].state == "considered"


def test_two_rings_of_one_kind_are_two_and_one_is_taken_out_at_a_time():
    bag = Bag().with_ring(Ring(49, 67)).with_ring(Ring(49, 67))
    assert len(bag.rings) == 2
    assert bag.without_ring(Ring(49, 67)).rings == (Ring(49, 67),)


def test_sizes_are_kept_in_tenths_so_that_what_is_shown_can_be_taken_out():
    bag = Bag().with_filter(FrontFilter(720.04, 40.51)).with_cut_on(719.96)
    assert (bag.filters, bag.cut_ons_nm) == ((FrontFilter(720.0, 40.5),), (720.0,))


@pytest.mark.parametrize(
    "field, change",
    [
        ("cut_ons_nm.0", lambda bag: bag.with_cut_on(200)),
        ("filters.0.diameter_mm", lambda bag: bag.with_filter(FrontFilter(720, 5))),
        ("filters.0.cut_on_nm", lambda bag: bag.with_filter(FrontFilter(3000, 77))),
        ("rings.0.lens_side_mm", lambda bag: bag.with_ring(Ring(1, 67))),
        ("rings.0", lambda bag: bag.with_ring(Ring(67, 67))),
        ("bodies.0.conversion_nm", lambda bag: bag.with_body(BagBody("Causey", 20))),
        ("bodies.0.label", lambda bag: bag.with_body(BagBody("x" * 61))),
        ("bodies", lambda bag: bag.with_body(BagBody("", None, 0.1))),
        ("lenses.0.state", lambda bag: bag.with_lens(Carried("marram-50", "borrowed"))),
        ("prices.ring", lambda bag: bag.with_prices(Prices({}, "-1"))),
    ],
)
def test_nonsense_is_named_with_the_bags_own_field_and_a_remedy(field, change):
    with pytest.raises(InvalidInput) as refusal:
        change(Bag())
    problem = refusal.value.first
    assert problem.field == field
    assert problem.remedy and problem.says


def test_a_bag_has_an_end():
    bag = Bag(lenses=tuple(Carried(f"lens-{number}") for number in range(MOST_LENSES)))
    with pytest.raises(TooLarge, match=f"{MOST_LENSES + 1} entries"):
        bag.with_lens(Carried("one-more"))


def test_without_bodies_every_cut_on_needs_a_filter():
    need = Bag().need(usual_cut_on_nm=720)
    assert (need.cut_ons_nm, need.conversions_nm) == ((720,), (None,))


def test_the_largest_sensor_decides_what_a_ring_may_shade():
    bag = Bag(bodies=(BagBody("small", 720.0, 14.1), BagBody("large", 720.0, 27.4)))
    assert bag.need(720).half_diagonal_mm == 27.4
    assert bag.need(720).conversions_nm == (720.0,)


def test_joining_a_bag_with_itself_changes_nothing():
    assert FULL.joined(FULL) == FULL


def test_joined_bags_hold_what_either_held_and_the_own_word_counts():
    other = Bag(
        lenses=(Carried("marram-50", "considered"), Carried("sedge-28")),
        cut_ons_nm=(665.0,),
        rings=(Ring(52.0, 67.0),),
    )
    joined = FULL.joined(other)
    assert joined.slugs == ("marram-50", "marram-20", "sedge-28")
    assert joined.lenses[0].state == "owned"
    assert joined.cut_ons_nm == (720.0, 830.0, 665.0)
    assert joined.rings == (Ring(49.0, 67.0), Ring(49.0, 67.0), Ring(52.0, 67.0))
    assert joined.prices == FULL.prices
