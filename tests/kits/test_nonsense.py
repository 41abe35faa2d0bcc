"""Requests that make no sense are answered with what is wrong, where, and what to do."""

import pytest

from registry.errors import InvalidInput, TooLarge
from registry.kits.bag import BagLens, FrontFilter, Need, Owned, Prices, Ring, Stacking
from registry.kits.planning import plan_kit

LENS = BagLens("lens", 52.0, 50.0)
NEED = Need((720.0,))
NAN = float("nan")


@pytest.mark.parametrize(
    "field, request_",
    [
        ("lenses.1.filter_thread_mm", {"lenses": [LENS, BagLens("x", 9.0, 50.0)]}),
        ("lenses.0.filter_thread_mm", {"lenses": [BagLens("x", 201.0, 50.0)]}),
        ("lenses.0.filter_thread_mm", {"lenses": [BagLens("x", NAN, 50.0)]}),
        ("lenses.0.filter_thread_mm", {"lenses": [BagLens("x", "52", 50.0)]}),
        ("lenses.0.filter_thread_mm", {"lenses": [BagLens("x", 52.0, 50.0, filter_seat="drop-in")]}),
        ("lenses.0.focal_min_mm", {"lenses": [BagLens("x", 52.0, 0.0)]}),
        ("lenses.0.filter_seat", {"lenses": [BagLens("x", None, 50.0, filter_seat="pocket")]}),
        ("lenses.0.projection", {"lenses": [BagLens("x", 52.0, 50.0, projection="flat")]}),
        ("lenses.0.cut_ons_nm.0", {"lenses": [BagLens("x", 52.0, 50.0, cut_ons_nm=(72.0,))]}),
        ("need.cut_ons_nm.1", {"need": Need((720.0, NAN))}),
        ("need.cut_ons_nm", {"need": Need(())}),
        ("need.conversions_nm", {"need": Need((720.0,), conversions_nm=())}),
        ("need.half_diagonal_mm", {"need": Need((720.0,), half_diagonal_mm=0.0)}),
        ("owned.filters.0.diameter_mm", {"owned": Owned((FrontFilter(720.0, 500.0),))}),
        ("owned.rings.0", {"owned": Owned(rings=(Ring(52.0, 52.0),))}),
        ("prices.filters.0.price", {"prices": Prices({FrontFilter(720.0, 52.0): -1})}),
        ("prices.filters.0.price", {"prices": Prices({FrontFilter(720.0, 52.0): NAN})}),
        ("prices.filters.0.price", {"prices": Prices({FrontFilter(720.0, 52.0): "9.999"})}),
        ("prices.ring", {"prices": Prices({}, ring="dear")}),
        ("prices.rings.0.price", {"prices": Prices({}, rings={Ring(52.0, 77.0): -5})}),
        ("stacking.ring_mm", {"stacking": Stacking(ring_mm=0.0)}),
        ("stacking.allowed", {"stacking": Stacking(allowed=((30.0, 4.0),))}),
        ("narrower_by_mm", {"narrower_by_mm": -1.0}),
    ],
)
def test_nonsense_is_named_with_its_field_and_a_remedy(field, request_):
    with pytest.raises(InvalidInput) as caught:
        plan_kit(**({"lenses": [LENS], "need": NEED} | request_))
    problem = caught.value.first
    assert problem.field == field
    assert problem.says and problem.remedy


def test_all_that_is_wrong_is_told_at_once():
    with pytest.raises(InvalidInput) as caught:
        plan_kit([BagLens("x", 5.0, -1.0)], Need((20.0,)))
    assert [one.field for one in caught.value.problems] == [
        "lenses.0.filter_thread_mm",
        "lenses.0.focal_min_mm",
        "need.cut_ons_nm.0",
    ]


@pytest.mark.parametrize(
    "field, lenses, need",
    [
        ("lenses", [LENS] * 201, NEED),
        ("need.cut_ons_nm", [LENS], Need(tuple(float(nm) for nm in range(700, 900, 20)))),
        ("lenses", [BagLens("x", 20.0 + step, 50.0) for step in range(41)], NEED),
    ],
)
def test_a_request_beyond_measure_is_refused_with_the_measure(field, lenses, need):
    with pytest.raises(TooLarge) as caught:
        plan_kit(lenses, need)
    assert caught.value.first.field == field
