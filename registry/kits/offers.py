"""Which filters and rings a plan may choose from: those owned, and those for sale."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from registry.kits.bag import FrontFilter, Owned, Prices, Ring, Stacking, same_cut_on


@dataclass(frozen=True)
class FilterOffer:
    """A filter that could be in the kit; price in hundredths, 0 for one owned or without prices."""

    filter: FrontFilter
    owned: bool
    price: int = 0


@dataclass(frozen=True)
class RingOffer:
    """A ring that could be in the kit: copies owned, price of a further one in hundredths, and whether one is
    for sale at all."""

    ring: Ring
    owned: int
    for_sale: bool
    price: int = 0


def hundredths(price: Decimal | float | str) -> int:
    """A checked price as a whole number of hundredths, so that costs add up exactly."""
    return int(Decimal(str(price)) * 100)


def filter_offers(
    wanted: Sequence[float], threads: Iterable[float], owned: Owned, prices: Prices | None
) -> list[FilterOffer]:
    """Filters that serve a wanted cut-on (nm): owned ones, and ones for sale.

    Without prices a filter can be bought in each thread's diameter and in each that an owned ring takes; any
    other diameter needs one ring more and no filter less, so it is never the better choice.
    """
    have = sorted({one for one in owned.filters if any(same_cut_on(one.cut_on_nm, nm) for nm in wanted)})
    if prices is None:
        sides = {side for ring in owned.rings for side in (ring.lens_side_mm, ring.filter_side_mm)}
        sale = {FrontFilter(nm, float(size)): 0 for nm in wanted for size in {*threads, *sides}}
    else:
        sale = {
            one: hundredths(price)
            for one, price in prices.filters.items()
            if any(same_cut_on(one.cut_on_nm, nm) for nm in wanted)
        }
    return [FilterOffer(one, owned=True) for one in have] + [
        FilterOffer(one, owned=False, price=price) for one, price in sorted(sale.items()) if one not in have
    ]


def ring_offers(
    sizes: Iterable[float],
    owned: Owned,
    prices: Prices | None,
    stacking: Stacking,
    narrower_by_mm: float = 0.0,
) -> list[RingOffer]:
    """Rings between the sizes in mm: owned ones, listed ones, and every step that is commonly sold.

    Step-down rings are bought only where narrower_by_mm allows a filter narrower than the thread.
    """
    count = Counter(owned.rings)
    listed = {ring: hundredths(price) for ring, price in prices.rings.items()} if prices else {}
    usual = 0 if prices is None else (None if prices.ring is None else hundredths(prices.ring))
    if usual is not None:
        for_all = sorted({float(size) for size in sizes})
        for ring in (Ring(first, second) for first in for_all for second in for_all):
            step = ring.filter_side_mm - ring.lens_side_mm
            if 0 < step <= stacking.largest_step_mm or 0 < -step <= narrower_by_mm:
                listed.setdefault(ring, usual)
    return [
        RingOffer(ring, count[ring], ring in listed, listed.get(ring, 0))
        for ring in sorted({*count, *listed})
    ]
