"""The planner against trying everything, on bags small enough for that."""

from decimal import Decimal

import numpy as np
import pytest

from registry.kits.bag import BagLens, FrontFilter, Need, Owned, Prices, Ring, Stacking
from registry.kits.planning import plan_kit
from tests.kits.brute_force import best_key, best_key_apart

SIZES = (49.0, 52.0, 58.0, 67.0, 77.0)
CUT_ONS = (590.0, 720.0)


def random_bag(rng):
    """A bag of one to five lenses on up to four sizes, with some pieces owned."""
    sizes = sorted(rng.choice(SIZES, rng.integers(1, 5), replace=False).tolist())
    cut_ons = CUT_ONS if len(sizes) < 4 and rng.random() < 0.4 else CUT_ONS[:1]
    lenses = [
        (float(rng.choice(sizes)), float(rng.choice([14.0, 24.0, 50.0])), cut_ons)
        for _ in range(rng.integers(1, 6))
    ]
    owned_filters = [
        (float(rng.choice(cut_ons)), float(rng.choice(sizes)))
        for _ in range(rng.integers(0, 3) * (rng.random() < 0.5))
    ]
    pairs = [(low, high) for low in sizes for high in sizes if low < high]
    owned_rings = [
        pairs[rng.integers(len(pairs))] for _ in range(rng.integers(0, 3)) if pairs and rng.random() < 0.6
    ]
    return sizes, cut_ons, lenses, owned_filters, owned_rings


def key_of(kit):
    """Where a kit stands in the order of aims, counted from what it lists."""
    bought = [one for one in kit.filters if not one.owned]
    return (
        int((kit.cost or 0) * 100),
        len(bought),
        sum(one.to_buy for one in kit.rings),
        sum(use.narrower for use in kit.uses),
        round(sum(one.filter.diameter_mm for one in bought), 1),
        sum(len(use.rings) for use in kit.uses),
    )


def both_answers(seed, *, priced, narrower_by=0.0):
    """The planner's and the brute force's key for one random bag."""
    rng = np.random.default_rng(seed)
    sizes, cut_ons, lenses, owned_filters, owned_rings = random_bag(rng)
    price = (lambda low, high: int(rng.integers(low, high))) if priced else (lambda low, high: 0)
    stacking = Stacking(largest_step_mm=100)
    # Without prices a filter is for sale in each thread and each size that an owned ring takes.
    on_sale = (
        sizes
        if priced
        else {thread for thread, _, _ in lenses} | {side for ring in owned_rings for side in ring}
    )
    filters = {(nm, size): price(500, 9000) for nm in cut_ons for size in sorted(on_sale)}
    steps = [(low, high) for low in sizes for high in sizes if low < high or 0 < low - high <= narrower_by]
    rings = {step: price(200, 2500) for step in steps}
    prices = Prices(
        {FrontFilter(*one): Decimal(cents) / 100 for one, cents in filters.items()},
        rings={Ring(*one): Decimal(cents) / 100 for one, cents in rings.items()},
    )
    plan = plan_kit(
        [BagLens(f"lens {index}", thread, focal) for index, (thread, focal, _) in enumerate(lenses)],
        Need(cut_ons),
        Owned(tuple(FrontFilter(*one) for one in owned_filters), tuple(Ring(*one) for one in owned_rings)),
        prices if priced else None,
        narrower_by_mm=narrower_by,
        stacking=stacking,
        max_alternatives=0,
    )
    # 24 mm sees 84°, 14 mm 114°, 50 mm 47° on 36 × 24 mm: one ring, one ring, two rings.
    plain = [(thread, 2 if focal == 50 else 1, nms) for thread, focal, nms in lenses]
    filters |= dict.fromkeys(owned_filters)
    rings |= dict.fromkeys(owned_rings)
    return key_of(plan.kit), best_key(plain, filters, rings, narrower_by=narrower_by)


@pytest.mark.parametrize("block", range(10))
def test_no_purchase_is_better_than_the_plan_by_any_price(block):
    for seed in range(block * 25, block * 25 + 25):
        planned, tried = both_answers(seed, priced=True)
        assert planned == tried, f"bag {seed}"


@pytest.mark.parametrize("block", range(10))
def test_no_purchase_is_better_than_the_plan_without_prices(block):
    for seed in range(1000 + block * 25, 1000 + block * 25 + 25):
        planned, tried = both_answers(seed, priced=False)
        assert planned == tried, f"bag {seed}"


def test_no_purchase_is_better_where_narrower_filters_are_allowed():
    for seed in range(2000, 2020):
        planned, tried = both_answers(seed, priced=True, narrower_by=6.0)
        assert planned == tried, f"bag {seed}"


def test_no_combination_is_better_where_each_lens_has_its_own_rings():
    for seed in range(3000, 3060):
        rng = np.random.default_rng(seed)
        sizes = sorted(rng.choice(SIZES, 3, replace=False).tolist())
        cut_ons = CUT_ONS[: rng.integers(1, 3)]
        threads = rng.choice(sizes, 5 - len(cut_ons)).tolist()
        pairs = [(low, high) for low in sizes for high in sizes if low < high]
        owned = [pairs[rng.integers(3)] for _ in range(rng.integers(0, 4))]
        filters = {(nm, size): int(rng.integers(500, 9000)) for nm in cut_ons for size in sizes}
        rings = {pair: int(rng.integers(200, 2500)) for pair in pairs}
        plan = plan_kit(
            [BagLens(f"lens {index}", thread, 50.0) for index, thread in enumerate(threads)],
            Need(cut_ons),
            Owned(rings=tuple(Ring(*one) for one in owned)),
            Prices(
                {FrontFilter(*one): Decimal(cents) / 100 for one, cents in filters.items()},
                rings={Ring(*one): Decimal(cents) / 100 for one, cents in rings.items()},
            ),
            share_rings=False,
            max_alternatives=0,
        )
        lenses = [(thread, 2, cut_ons) for thread in threads]
        assert key_of(plan.kit) == best_key_apart(lenses, filters, rings, owned), f"bag {seed}"
