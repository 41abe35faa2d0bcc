"""A bag's kit: what its owner wishes, and when a plan is given up."""

import pytest

from registry.bags.contents import Bag, Carried
from registry.bags.planning import Wishes, plan_for, plan_lenses
from registry.errors import InvalidInput, TooLarge
from registry.kits import planning
from registry.kits.bag import BagLens, Need, Ring, Stacking
from tests.factories import LensFactory

AT_720 = Need((720.0,))


def lens(thread, focal=50.0):
    return BagLens(f"lens of {thread:g} mm", float(thread), focal)


def bought(plan):
    return plan.kit.filters_to_buy, plan.kit.rings_to_buy


def test_the_usual_limits_are_those_of_the_kits_room():
    for angle in (10, 47, 74, 76, 94, 119, 121, 180):
        assert Wishes().stacking().rings_allowed(angle) == Stacking().rings_allowed(angle)


@pytest.mark.parametrize("most, pieces", [(2, (1, 1)), (1, (1, 1)), (0, (2, 0))])
def test_no_lens_bears_more_rings_than_its_owner_wishes(most, pieces):
    plan = plan_lenses(Bag(), [lens(52), lens(77)], AT_720, Wishes(most_rings=most))
    assert bought(plan) == pieces


def test_two_rings_on_one_lens_need_the_wish_for_two():
    bag = Bag(rings=(Ring(49.0, 52.0), Ring(52.0, 77.0)))
    lenses = [lens(49), lens(52), lens(77)]
    assert bought(plan_lenses(bag, lenses, AT_720, Wishes(most_rings=2))) == (1, 0)
    assert bought(plan_lenses(bag, lenses, AT_720, Wishes(most_rings=1))) == (1, 1)


def test_what_is_wrong_has_the_bags_own_names():
    with pytest.raises(InvalidInput) as refusal:
        plan_lenses(Bag(), [lens(52)], AT_720, Wishes(ring_mm=0.1, narrower_by_mm=-1))
    assert {problem.field for problem in refusal.value.problems} == {"ring_mm", "narrower_by_mm"}


@pytest.mark.django_db
def test_lenses_only_considered_can_be_left_out():
    owned, considered = LensFactory(filter_thread_mm=52), LensFactory(filter_thread_mm=77)
    pairs = [(owned, Carried(owned.slug)), (considered, Carried(considered.slug, "considered"))]
    assert bought(plan_for(Bag(), pairs, AT_720)) == (1, 1)
    assert bought(plan_for(Bag(), pairs, AT_720, Wishes(considered=False))) == (1, 0)


def test_a_plan_that_takes_too_long_is_given_up_with_what_to_do(monkeypatch):
    monkeypatch.setattr(planning, "SECONDS", 0.0)
    sizes = (43, 46, 49, 52, 55, 58, 62, 67, 72, 77, 82, 86, 95, 105)
    lenses = [BagLens(f"lens {number}", float(sizes[number % 14]), 35.0) for number in range(60)]
    need = Need((590.0, 665.0, 720.0, 760.0, 830.0))
    with pytest.raises(TooLarge) as refusal:
        plan_lenses(Bag(), lenses, need, Wishes(share_rings=False))
    assert refusal.value.first.code == "kit-plan-not-solved"
    assert refusal.value.first.remedy == "Plan for a part of the bag at a time."
