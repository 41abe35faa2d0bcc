"""From the columns of a solved program back to filters, rings and lenses."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from registry.kits.bag import FrontFilter, Need, Ring, Stacking, widest_angle
from registry.kits.offers import FilterOffer
from registry.kits.plan import Kit, KitFilter, KitRing, Use
from registry.kits.program import Choice, Program, Target, serves
from registry.kits.routes import Route


@dataclass(frozen=True)
class Stock:
    """What a solution has at hand: filters, and rings by station; and the copies of rings it buys."""

    filters: frozenset[FilterOffer]
    rings: Mapping[int, frozenset[Ring]]
    bought: Mapping[Ring, int]


def read_stock(program: Program, values: np.ndarray) -> Stock:
    """The filters and rings of a solution; everything owned is at hand."""
    pairs = zip(program.choice.filters, program.filter_columns, strict=True)
    rings: dict[int, set[Ring]] = {index: set() for index in range(len(program.choice.stations))}
    owned = {offer.ring for offer in program.choice.rings if offer.owned and program.choice.share_rings}
    for (station, ring), column in program.ring_columns.items():
        if ring in owned or values[column] > 0.5:
            rings[station].add(ring)
    return Stock(
        frozenset(offer for offer, column in pairs if offer.owned or values[column] > 0.5),
        {station: frozenset(some) for station, some in rings.items()},
        {ring: count for ring, column in program.bought.items() if (count := round(float(values[column])))},
    )


def best_route(choice: Choice, target: Target, stock: Stock) -> tuple[Route, FilterOffer] | None:
    """The route that a target takes with what is at hand, and its filter; None if nothing at hand reaches it.

    First nothing narrower than the thread, then the fewest rings, then the smaller filter; an owned one first.
    """
    thread = choice.stations[target.station].thread_mm
    at_hand: dict[float, list[FilterOffer]] = {}
    for offer in stock.filters:
        if serves(offer, target.cut_on_nm):
            at_hand.setdefault(offer.filter.diameter_mm, []).append(offer)
    open_routes = [
        route
        for route in choice.routes[target]
        if route.diameter_mm in at_hand and stock.rings[target.station].issuperset(route.rings)
    ]
    if not open_routes:
        return None
    route = min(
        open_routes,
        key=lambda one: (one.is_narrower_than(thread), len(one.rings), one.diameter_mm, one.rings),
    )
    offers = at_hand[route.diameter_mm]
    return route, min(
        offers, key=lambda one: (not one.owned, abs(one.filter.cut_on_nm - target.cut_on_nm), one.filter)
    )


def read_kit(choice: Choice, stock: Stock, need: Need, stacking: Stacking, *, priced: bool) -> Kit:
    """The kit of a solution."""
    taken = {target: best_route(choice, target, stock) for target in choice.routes}
    uses = [
        use
        for target, (route, offer) in taken.items()
        for use in _uses(choice, target, route, offer.filter, need, stacking)
    ]
    filters = {offer for _, offer in taken.values()} | {offer for offer in stock.filters if not offer.owned}
    kit_rings = _kit_rings(choice, stock, taken, priced)
    cost = sum(
        [offer.price for offer in filters]
        + [offer.price * stock.bought.get(offer.ring, 0) for offer in choice.rings]
    )
    return Kit(
        tuple(
            KitFilter(offer.filter, offer.owned, _money(offer.price) if priced and not offer.owned else None)
            for offer in sorted(filters, key=lambda one: (one.filter, not one.owned))
        ),
        kit_rings,
        tuple(sorted(uses, key=lambda use: (use.thread_mm, use.lens, use.cut_on_nm, use.rings))),
        _money(cost) if priced else None,
    )


def leaves_out_nothing(choice: Choice, stock: Stock) -> bool:
    """Whether every filter bought is needed: without it some lens would go unserved."""
    for offer in stock.filters:
        rest = Stock(stock.filters - {offer}, stock.rings, stock.bought)
        if not offer.owned and all(best_route(choice, target, rest) for target in choice.routes):
            return False
    return True


def _uses(
    choice: Choice, target: Target, route: Route, one: FrontFilter, need: Need, stacking: Stacking
) -> Iterable[Use]:
    station = choice.stations[target.station]
    for lens in station.lenses:
        yield Use(
            lens=lens.name,
            thread_mm=station.thread_mm,
            cut_on_nm=target.cut_on_nm,
            filter=one,
            rings=route.rings,
            stack_mm=len(route.rings) * stacking.ring_mm,
            angle_deg=round(widest_angle(lens, need.half_diagonal_mm), 1),
            narrower=route.is_narrower_than(station.thread_mm),
            hood_fits=not route.rings if lens.hood else None,
        )


def _kit_rings(choice: Choice, stock: Stock, taken: Mapping, priced: bool) -> tuple[KitRing, ...]:
    """Rings in use: shared ones once, others once for each lens that uses them."""
    users: Counter[Ring] = Counter()
    for ring, station in {
        (ring, target.station) for target, (route, _) in taken.items() for ring in route.rings
    }:
        users[ring] = 1 if choice.share_rings else users[ring] + len(choice.stations[station].lenses)
    return tuple(
        KitRing(
            offer.ring,
            max(0, users[offer.ring] - bought),
            bought,
            _money(offer.price) if priced and bought else None,
        )
        for offer in choice.rings
        if (bought := stock.bought.get(offer.ring, 0)) or users[offer.ring]
    )


def _money(price: int) -> Decimal:
    return Decimal(price).scaleb(-2)
