"""Plans the filters and rings that serve a bag of lenses: the one way into this room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from time import monotonic

from registry.kits.alternatives import Alternatives, filter_per_thread, plain_answer
from registry.kits.bag import BagLens, Need, Owned, Prices, Stacking
from registry.kits.checks import check_request
from registry.kits.offers import filter_offers, ring_offers
from registry.kits.plan import Kit, KitPlan
from registry.kits.program import Choice, Target, build_program, serves
from registry.kits.reading import read_kit, read_stock
from registry.kits.reasons import Rivals, answer_cut_ons, caution, explain, lenses_without_thread
from registry.kits.routes import gather_stations, part_for_owned_rings, routes_to
from registry.kits.sentences import Statement, state
from registry.kits.solving import solve_in_order

# Without prices the first is left out.
AIMS = ("cost", "filters", "rings", "narrower", "diameter", "placements")

# What a whole plan may take, so that no odd bag holds a server up; 60 lenses at six cut-ons need some 9 s.
SECONDS = 20.0

# Sizes in mm that rings are sold in; they bridge threads too far apart for one ring (common practice, no source).
RING_SIZES_MM = (37, 40.5, 43, 46, 49, 52, 55, 58, 62, 67, 72, 77, 82, 86, 95, 105)


def plan_kit(
    lenses: Sequence[BagLens],
    need: Need,
    owned: Owned | None = None,
    prices: Prices | None = None,
    *,
    share_rings: bool = True,
    narrower_by_mm: float = 0.0,
    stacking: Stacking | None = None,
    max_alternatives: int = 4,
) -> KitPlan:
    """The kit that serves the bag for the least money, proven best by mixed-integer programming.

    With prices the cost comes first; then, and without prices, fewest filters to buy, fewest rings to buy,
    fewest lenses behind something narrower than their thread, smallest filters (sum of diameters), fewest rings
    in front of lenses. The order of lenses, pieces owned and prices doesn't matter.

    share_rings: one ring serves all lenses of its thread, used one at a time; else each lens has its own.
    narrower_by_mm: how much narrower than a thread a filter or ring may be; such uses carry a caution.

    Raises InvalidInput with every nonsensical value, TooLarge beyond what `checks` states and when the solver runs
    out of time.
    """
    owned, stacking = owned or Owned(), stacking or Stacking()
    check_request(lenses, need, owned, prices, stacking, narrower_by_mm)
    answers = answer_cut_ons(lenses, need)
    by_filter = [one.cut_on_nm for one in answers if one.served_by == "filter"]
    choice, unserved = _choose_from(
        lenses, need, by_filter, owned, prices, share_rings, narrower_by_mm, stacking
    )
    program = replace(build_program(choice), ends=monotonic() + SECONDS)
    aims = AIMS if prices else AIMS[1:]

    def as_kit(values) -> Kit | None:
        if values is None:
            return None
        return read_kit(choice, read_stock(program, values), need, stacking, priced=prices is not None)

    best = solve_in_order(program, aims)
    kit = as_kit(best)
    others, more = Alternatives(program, aims, best).find(max_alternatives)
    rivals = Rivals(as_kit(plain_answer(program, aims)), as_kit(filter_per_thread(program, aims)))
    currency = prices.currency if prices else ""
    without = lenses_without_thread(lenses, need, by_filter)
    return KitPlan(
        kit=kit,
        cut_ons=answers,
        why=explain(kit, answers, rivals, currency),
        cautions=caution(kit, without),
        without_thread=without,
        unserved=(*_out_of_reach(answers, need), *unserved),
        alternatives=tuple(
            read_kit(choice, one, need, stacking, priced=prices is not None) for one in others
        ),
        more_alternatives=more,
        currency=currency,
    )


def _choose_from(
    lenses: Sequence[BagLens],
    need: Need,
    by_filter: Sequence[float],
    owned: Owned,
    prices: Prices | None,
    share_rings: bool,
    narrower_by_mm: float,
    stacking: Stacking,
) -> tuple[Choice, list[Statement]]:
    """What the program chooses from, and a statement for each lens and cut-on that nothing reaches."""
    stations = gather_stations(lenses, by_filter, need, stacking)
    threads = {station.thread_mm for station in stations}
    filters = filter_offers(by_filter, threads, owned, prices)
    sizes = threads | {offer.filter.diameter_mm for offer in filters}
    if sizes and max(sizes) - min(sizes) > stacking.largest_step_mm:
        sizes |= set(RING_SIZES_MM)
    rings = ring_offers(sizes, owned, prices, stacking, narrower_by_mm)
    diameters = {
        cut_on: {offer.filter.diameter_mm for offer in filters if serves(offer, cut_on)}
        for cut_on in by_filter
    }
    parted, routes, unserved = [], {}, []
    for station in stations:
        found = {
            cut_on: routes_to(station, diameters[cut_on], (offer.ring for offer in rings), narrower_by_mm)
            for cut_on in station.cut_ons_nm
        }
        used = {ring for some in found.values() for route in some for ring in route.rings}
        copies = 0 if share_rings else sum(offer.owned for offer in rings if offer.ring in used)
        for part in part_for_owned_rings(station, copies):
            routes |= {Target(len(parted), cut_on): some for cut_on, some in found.items() if some}
            parted.append(part)
        unserved += [
            state("nothing-fits", lens=lens.name, cut_on_nm=cut_on, thread_mm=station.thread_mm)
            for cut_on, some in found.items()
            if not some
            for lens in station.lenses
        ]
    return Choice(parted, filters, rings, routes, share_rings), unserved


def _out_of_reach(answers, need: Need) -> list[Statement]:
    shortest = min((one for one in need.conversions_nm if one is not None), default=0.0)
    return [
        state("cut-on-out-of-reach", cut_on_nm=one.cut_on_nm, shortest_nm=float(shortest))
        for one in answers
        if one.served_by == "out-of-reach"
    ]
