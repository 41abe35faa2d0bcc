"""What a photographer may expect of a kit plan."""

import json
from decimal import Decimal

import numpy as np
import pytest

from registry.kits.bag import BagLens, FrontFilter, Need, Owned, Prices, Ring, Stacking
from registry.kits.planning import plan_kit

AT_720 = Need((720.0,))


def lens(thread, focal=50.0, name=None, **more):
    return BagLens(name or f"lens {thread:g}", thread, focal, **more)


def bought(plan):
    """Filters and rings to buy, as plain numbers."""
    filters = [(one.filter.cut_on_nm, one.filter.diameter_mm) for one in plan.kit.filters if not one.owned]
    rings = [(one.ring.lens_side_mm, one.ring.filter_side_mm) for one in plan.kit.rings if one.to_buy]
    return filters, rings


def codes(statements):
    return [one.code for one in statements]


def priced(diameters, each, ring, cut_ons=(720.0,)):
    return Prices(
        {FrontFilter(nm, size): each for nm in cut_ons for size in diameters}, ring=ring, currency="EUR"
    )


def test_the_plain_answer_is_one_filter_for_the_largest_thread_and_rings_for_the_rest():
    # Common practice, no source.
    plan = plan_kit([lens(52.0), lens(67.0), lens(77.0)], AT_720)
    assert bought(plan) == ([(720, 77)], [(52, 77), (67, 77)])
    assert "plain-answer-is-best" in codes(plan.why)


def test_the_plain_answer_gives_way_where_large_filters_cost_more_than_two_small_ones():
    prices = Prices({FrontFilter(720, 49): 15, FrontFilter(720, 52): 15, FrontFilter(720, 95): 200}, ring=60)
    plan = plan_kit([lens(49.0), lens(52.0)], AT_720, prices=prices)
    assert bought(plan) == ([(720, 49), (720, 52)], [])
    assert plan.kit.cost == Decimal(30)
    assert next(one for one in plan.why if one.code == "plain-answer-costs").values["cost"] == Decimal(75)


def test_filters_and_rings_owned_cost_nothing():
    owned = Owned((FrontFilter(720.0, 77.0),), (Ring(52.0, 77.0),))
    plan = plan_kit([lens(52.0), lens(77.0)], AT_720, owned, priced((52.0, 77.0), 40, 8))
    assert plan.kit.cost == 0
    assert bought(plan) == ([], [])
    assert "nothing-to-buy" in codes(plan.why)
    assert [one.owned for one in plan.kit.filters] == [True]


def test_an_owned_filter_of_715_nm_serves_720():
    plan = plan_kit([lens(52.0)], AT_720, Owned((FrontFilter(715.0, 52.0),)))
    assert plan.kit.filters_to_buy == 0


def test_an_owned_filter_of_another_cut_on_serves_nothing():
    plan = plan_kit([lens(52.0)], AT_720, Owned((FrontFilter(850.0, 52.0),)))
    assert bought(plan) == ([(720, 52)], [])


def test_each_cut_on_needs_a_filter_but_shares_the_rings():
    plan = plan_kit([lens(52.0), lens(77.0)], Need((590.0, 720.0)))
    assert bought(plan) == ([(590, 77), (720, 77)], [(52, 77)])


def test_a_converted_body_needs_no_filter_at_its_own_cut_on():
    plan = plan_kit([lens(52.0)], Need((720.0, 850.0), conversions_nm=(720.0,)))
    assert bought(plan) == ([(850, 52)], [])
    assert codes(plan.why)[0] == "body-needs-no-filter"


def test_no_filter_makes_a_conversion_pass_shorter_waves():
    plan = plan_kit([lens(52.0)], Need((590.0,), conversions_nm=(720.0,)))
    assert plan.kit.filters == ()
    assert codes(plan.unserved) == ["cut-on-out-of-reach"]
    assert "720" in plan.unserved[0].says


def test_a_lens_used_at_one_cut_on_gets_no_filter_for_another():
    only = lens(82.0, cut_ons_nm=(590.0,))
    plan = plan_kit([lens(52.0), only], Need((590.0, 720.0)))
    assert bought(plan)[0] == [(590, 82), (720, 52)]


def test_without_prices_fewer_filters_come_before_fewer_rings_before_a_smaller_filter():
    # One filter and three rings rather than two filters and two rings.
    plan = plan_kit([lens(46.0), lens(49.0), lens(52.0), lens(58.0)], AT_720)
    assert (plan.kit.filters_to_buy, plan.kit.rings_to_buy) == (1, 3)
    # With an owned ring both 58 and 67 serve with no ring to buy: the smaller is taken.
    plan = plan_kit([lens(52.0)], AT_720, Owned(rings=(Ring(52.0, 58.0), Ring(52.0, 67.0))))
    assert bought(plan) == ([(720, 52)], [])


def test_no_filter_is_narrower_than_a_thread():
    plan = plan_kit([lens(77.0)], AT_720, Owned((FrontFilter(720.0, 72.0),), (Ring(77.0, 72.0),)))
    assert bought(plan) == ([(720, 77)], [])


def test_a_narrower_filter_that_is_allowed_carries_a_caution():
    owned = Owned((FrontFilter(720.0, 72.0),), (Ring(77.0, 72.0),))
    plan = plan_kit([lens(77.0)], AT_720, owned, narrower_by_mm=5.0)
    assert bought(plan) == ([], [])
    assert "narrower-may-vignette" in codes(plan.cautions)


def test_a_lens_takes_two_rings_a_wide_one_takes_one_and_an_extreme_one_none():
    owned = Owned((FrontFilter(720.0, 77.0),), (Ring(52.0, 58.0), Ring(58.0, 77.0)))
    prices = Prices({FrontFilter(720, 52): 40})
    normal, wide = (plan_kit([lens(52.0, focal)], AT_720, owned, prices) for focal in (50.0, 24.0))
    assert normal.kit.cost == 0
    assert "stack-may-vignette" in codes(normal.cautions)
    assert wide.kit.cost == 40
    one_ring = Owned((FrontFilter(720.0, 77.0),), (Ring(52.0, 77.0),))
    assert plan_kit([lens(52.0, 24.0)], AT_720, one_ring, prices).kit.cost == 0
    assert plan_kit([lens(52.0, 12.0)], AT_720, one_ring, prices).kit.cost == 40


def test_three_rings_are_never_stacked():
    owned = Owned((FrontFilter(720.0, 77.0),), (Ring(49.0, 52.0), Ring(52.0, 58.0), Ring(58.0, 77.0)))
    plan = plan_kit([lens(49.0, 200.0)], AT_720, owned, Prices({}), stacking=Stacking(ring_mm=1.0))
    assert codes(plan.unserved) == ["nothing-fits"]


def test_threads_too_far_apart_for_one_ring_are_bridged_by_two():
    plan = plan_kit([lens(37.0, 100.0), lens(95.0, 200.0)], AT_720)
    assert plan.kit.filters_to_buy == 1
    assert max(len(use.rings) for use in plan.kit.uses) == 2


def test_a_hood_that_no_longer_fits_is_mentioned():
    plan = plan_kit([lens(52.0, hood=True), lens(77.0, hood=True)], AT_720)
    hoods = [one for one in plan.cautions if one.code == "hood-does-not-fit"]
    assert [one.values["lens"] for one in hoods] == ["lens 52"]
    assert {use.lens: use.hood_fits for use in plan.kit.uses} == {"lens 52": False, "lens 77": True}


def test_every_plan_with_a_filter_warns_of_the_sun_and_every_ring_of_force():
    plan = plan_kit([lens(52.0), lens(77.0)], AT_720)
    assert {"no-eye-protection", "do-not-force-a-ring"} <= set(codes(plan.cautions))


@pytest.mark.parametrize(
    "seat, first", [("rear-holder", "rear-holder"), ("drop-in", "drop-in"), ("none", "clip-in")]
)
def test_a_lens_without_a_thread_is_named_with_what_else_works(seat, first):
    plan = plan_kit([lens(None, 14.0, "bulging wide", filter_seat=seat)], AT_720)
    assert plan.kit.filters == ()
    assert plan.without_thread[0].lens == "bulging wide"
    assert codes(plan.without_thread[0].instead)[0] == first
    assert codes(plan.without_thread[0].instead)[-1] == "conversion"
    assert "conversion-by-professionals" in codes(plan.cautions)


def test_a_lens_whose_thread_nobody_knows_is_asked_for():
    plan = plan_kit([lens(None, 50.0, "old normal")], AT_720)
    assert plan.without_thread[0].reason.code == "thread-unknown"


def test_a_lens_without_a_thread_needs_nothing_on_a_converted_body():
    plan = plan_kit([lens(None, 14.0, "wide", filter_seat="none")], Need((720.0,), conversions_nm=(720.0,)))
    assert plan.without_thread == ()


def test_rings_that_are_not_shared_are_bought_for_each_lens():
    bag = [lens(52.0, name="first"), lens(52.0, name="second"), lens(77.0)]
    shared, apart = (plan_kit(bag, AT_720, share_rings=share) for share in (True, False))
    assert (shared.kit.rings_to_buy, apart.kit.rings_to_buy) == (1, 2)
    one_owned = Owned(rings=(Ring(52.0, 77.0),))
    ring = plan_kit(bag, AT_720, one_owned, share_rings=False).kit.rings[0]
    assert (ring.owned, ring.to_buy) == (1, 1)


def test_a_filter_more_in_place_of_a_ring_is_an_alternative():
    plan = plan_kit([lens(52.0), lens(77.0)], AT_720, prices=priced((52.0, 77.0), 50, 45))
    assert plan.kit.cost == 95
    assert [one.cost for one in plan.alternatives] == [100]
    assert plan.alternatives[0].rings == ()
    assert not plan.more_alternatives


def test_kits_dearer_by_more_than_a_tenth_are_no_alternatives():
    plan = plan_kit([lens(52.0), lens(77.0)], AT_720, prices=priced((52.0, 77.0), 50, 40))
    assert plan.kit.cost == 90
    assert plan.alternatives == ()


def test_a_dearer_ring_that_spares_a_stack_is_an_alternative():
    prices = Prices(
        {FrontFilter(720, 77): 80}, rings={Ring(49, 52): 3, Ring(52, 77): 5, Ring(49, 77): 6}, currency="EUR"
    )
    plan = plan_kit([lens(49.0, name="a"), lens(52.0, name="b")], AT_720, prices=prices)
    assert (plan.kit.cost, [one.cost for one in plan.alternatives]) == (88, [91])
    assert max(len(use.rings) for use in plan.alternatives[0].uses) == 1


def test_alternatives_are_affordable_different_and_leave_nothing_over():
    seen = 0
    for seed in range(25):
        rng = np.random.default_rng(seed)
        threads = rng.choice([49.0, 52.0, 58.0, 67.0, 77.0], 4)
        sizes = sorted(set(threads))
        prices = Prices(
            {FrontFilter(720.0, float(size)): int(rng.integers(20, 30)) for size in sizes},
            ring=int(rng.integers(10, 25)),
        )
        plan = plan_kit(
            [lens(float(one), name=f"{i}") for i, one in enumerate(threads)], AT_720, prices=prices
        )
        kits = [plan.kit, *plan.alternatives]
        seen += len(plan.alternatives)
        assert all(kit.cost <= plan.kit.cost * Decimal("1.1") for kit in kits)
        assert [kit.cost for kit in kits] == sorted(kit.cost for kit in kits)
        assert len({kit.purchase for kit in kits}) == len(kits)
        assert all(len(kit.uses) == len(threads) for kit in kits)
        assert all({use.filter for use in kit.uses} == {one.filter for one in kit.filters} for kit in kits)
    assert seen > 5


def test_the_order_in_which_things_are_named_does_not_matter():
    rng = np.random.default_rng(5)
    bag = [
        lens(float(one), name=f"lens {i}") for i, one in enumerate(rng.choice([49, 52, 58, 67, 77, 82], 9))
    ]
    filters = [
        (FrontFilter(nm, size), 30 + size / 4) for nm in (590.0, 720.0) for size in (52.0, 67.0, 77.0, 82.0)
    ]
    rings = [Ring(52.0, 77.0), Ring(49.0, 58.0), Ring(58.0, 77.0)]

    def plan(order):
        return plan_kit(
            [bag[i] for i in order.permutation(len(bag))],
            Need(tuple(order.permutation([590.0, 720.0]).tolist())),
            Owned(rings=tuple(rings[i] for i in order.permutation(3))),
            Prices(dict(filters[i] for i in order.permutation(len(filters))), ring=9),
        ).to_dict()

    assert plan(np.random.default_rng(1)) == plan(np.random.default_rng(2)) == plan(np.random.default_rng(3))


def test_a_plan_travels_as_json():
    prices = priced((52.0, 77.0), "39.90", "7.50")
    bag = [lens(52.0, hood=True), lens(77.0), lens(None, 14.0, "wide", filter_seat="none")]
    plain = plan_kit(bag, AT_720, prices=prices).to_dict()
    assert json.loads(json.dumps(plain, allow_nan=False)) == plain
    assert plain["kit"]["cost"] == "47.40"
    assert all(one["says"] for one in [*plain["why"], *plain["cautions"]])


def test_an_empty_bag_needs_nothing():
    plan = plan_kit([], AT_720)
    assert plan.kit.filters == plan.kit.rings == plan.alternatives == ()
