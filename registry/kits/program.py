"""The kit plan as a mixed-integer linear program.

Columns, all at least 0: one per filter offer (1: in the kit), one per diameter for sale (1: bought), one per ring
that can be used (1: in the kit, or on this station where rings aren't shared), one per ring to buy where rings
aren't shared (copies), one per station, cut-on and route (1: used; it needs no integrality, as whole filters and
rings leave a whole choice of routes).

Rows: every station takes one route per cut-on; a route needs a filter of its diameter and each of its rings;
rings on lenses are owned or bought.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.sparse import csr_array

from registry.kits.bag import Ring, Stacking, same_cut_on
from registry.kits.offers import FilterOffer, RingOffer
from registry.kits.routes import Route, Station


class Target(NamedTuple):
    """One thing that must get a filter: a station (by index) at a cut-on in nm."""

    station: int
    cut_on_nm: float


@dataclass(frozen=True)
class Choice:
    """All that the program chooses from. `routes` holds the possible routes of every target that has one."""

    stations: Sequence[Station]
    filters: Sequence[FilterOffer]
    rings: Sequence[RingOffer]
    routes: Mapping[Target, Sequence[Route]]
    share_rings: bool


@dataclass
class Rows:
    """Sparse rows lower ≤ row · x ≤ upper, collected one by one."""

    entries: list[tuple[int, int, float]] = field(default_factory=list)
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)

    def add(self, terms: Iterable[tuple[int, float]], lower: float, upper: float) -> None:
        row = len(self.lower)
        self.entries += [(row, column, value) for column, value in terms]
        self.lower.append(lower)
        self.upper.append(upper)

    def matrix(self, columns: int) -> csr_array:
        rows, cols, values = np.array(self.entries, dtype=float).reshape(-1, 3).T
        return csr_array((values, (rows.astype(int), cols.astype(int))), shape=(len(self.lower), columns))


@dataclass(frozen=True)
class Program:
    """The program of a choice.

    upper, whole: arrays (columns,): largest value, and whether a column must be whole.
    objectives: integer arrays (columns,) by name: "cost" in hundredths, "filters" and "rings" to buy, "narrower"
    (lenses behind something narrower than their thread), "diameter" (sum over filters bought), "placements"
    (rings in front of lenses, summed over lenses and cut-ons), each divided by its weights' common divisor.
    ceilings: what no objective exceeds.
    filter_columns: of each filter offer. diameter_columns: by diameter in mm. ring_columns: of each ring on each
    station (the same column for all stations when rings are shared). bought: columns of rings to buy, by ring.
    ends: when solving it gives up, on the monotonic clock.
    """

    choice: Choice
    rows: Rows
    upper: np.ndarray
    whole: np.ndarray
    objectives: Mapping[str, np.ndarray]
    ceilings: Mapping[str, int]
    filter_columns: Sequence[int]
    diameter_columns: Mapping[float, int]
    ring_columns: Mapping[tuple[int, Ring], int]
    bought: Mapping[Ring, int]
    ends: float = math.inf

    @cached_property
    def matrix(self) -> csr_array:
        """The rows as a sparse matrix (rows, columns)."""
        return self.rows.matrix(len(self.upper))


class _Columns:
    """Hands out columns and notes what each weighs in the objectives."""

    NAMES = ("cost", "filters", "rings", "narrower", "diameter", "placements")

    def __init__(self) -> None:
        self.upper: list[float] = []
        self.whole: list[int] = []
        self.weights: list[tuple[int, ...]] = []

    def add(self, upper: float = 1, *, whole: bool = True, **weights: int) -> int:
        self.upper.append(upper)
        self.whole.append(int(whole))
        self.weights.append(tuple(weights.get(name, 0) for name in self.NAMES))
        return len(self.upper) - 1

    def objectives(self) -> dict[str, np.ndarray]:
        table = np.array(self.weights, dtype=np.int64).reshape(-1, len(self.NAMES))
        return {name: _reduced(table[:, index]) for index, name in enumerate(self.NAMES)}


def _reduced(weights: np.ndarray) -> np.ndarray:
    """Weights over their greatest common divisor: small numbers keep the solver's tolerances harmless."""
    divisor = int(np.gcd.reduce(weights))
    return weights // divisor if divisor else weights


def build_program(choice: Choice) -> Program:
    """Write a choice as a program."""
    columns, rows = _Columns(), Rows()
    filter_columns = [_add_filter(columns, offer) for offer in choice.filters]
    diameter_columns = _add_diameters(columns, rows, choice, filter_columns)
    ring_columns, bought = _add_rings(columns, rows, choice)
    for target, routes in choice.routes.items():
        station = choice.stations[target.station]
        by_diameter, by_ring = defaultdict(list), defaultdict(list)
        taken = []
        for route in routes:
            count = len(station.lenses)
            narrower = count * route.is_narrower_than(station.thread_mm)
            column = columns.add(whole=False, narrower=narrower, placements=count * len(route.rings))
            taken.append((column, 1.0))
            by_diameter[route.diameter_mm].append((column, 1.0))
            for ring in route.rings:
                by_ring[ring].append((column, 1.0))
        rows.add(taken, 1, 1)
        for diameter, terms in by_diameter.items():
            serving = [
                (column, -1.0)
                for column, offer in zip(filter_columns, choice.filters, strict=True)
                if serves(offer, target.cut_on_nm) and offer.filter.diameter_mm == diameter
            ]
            rows.add([*terms, *serving], -np.inf, 0)
        for ring, terms in by_ring.items():
            rows.add([*terms, (ring_columns[target.station, ring], -1.0)], -np.inf, 0)
    upper, objectives = np.array(columns.upper, dtype=float), columns.objectives()
    uses = sum(len(choice.stations[target.station].lenses) for target in choice.routes)
    return Program(
        choice,
        rows,
        upper,
        np.array(columns.whole),
        objectives,
        {name: int(weights @ upper) for name, weights in objectives.items()}
        | {"narrower": uses, "placements": uses * Stacking.MOST_RINGS},
        filter_columns,
        diameter_columns,
        ring_columns,
        bought,
    )


def serves(offer: FilterOffer, cut_on_nm: float) -> bool:
    """Whether a filter offer gives the wanted cut-on."""
    return same_cut_on(offer.filter.cut_on_nm, cut_on_nm)


def _add_filter(columns: _Columns, offer: FilterOffer) -> int:
    if offer.owned:
        return columns.add()
    tenths = round(offer.filter.diameter_mm * 10)
    return columns.add(cost=offer.price, filters=1, diameter=tenths)


def _add_diameters(
    columns: _Columns, rows: Rows, choice: Choice, filter_columns: Sequence[int]
) -> dict[float, int]:
    """Columns that tell which diameters are bought, whatever the cut-on: kits are told apart by them."""
    for_sale: dict[float, list[int]] = defaultdict(list)
    for column, offer in zip(filter_columns, choice.filters, strict=True):
        if not offer.owned:
            for_sale[offer.filter.diameter_mm].append(column)
    found = {}
    for diameter, bought in sorted(for_sale.items()):
        found[diameter] = columns.add()
        for column in bought:
            rows.add([(column, 1.0), (found[diameter], -1.0)], -np.inf, 0)
        rows.add([(found[diameter], 1.0), *((column, -1.0) for column in bought)], -np.inf, 0)
    return found


def _add_rings(
    columns: _Columns, rows: Rows, choice: Choice
) -> tuple[dict[tuple[int, Ring], int], dict[Ring, int]]:
    """Columns of the rings that some route uses; a shared ring is one column, else one per station
    and one of copies to buy."""
    users: dict[Ring, set[int]] = defaultdict(set)
    for target, routes in choice.routes.items():
        for route in routes:
            for ring in route.rings:
                users[ring].add(target.station)
    on_station, bought = {}, {}
    for offer in (offer for offer in choice.rings if offer.ring in users):
        stations = sorted(users[offer.ring])
        if choice.share_rings:
            column = columns.add() if offer.owned else columns.add(cost=offer.price, rings=1)
            on_station |= {(station, offer.ring): column for station in stations}
            bought |= {} if offer.owned else {offer.ring: column}
            continue
        placed = {(station, offer.ring): columns.add() for station in stations}
        supply = []
        if offer.for_sale:
            most = sum(len(choice.stations[station].lenses) for station in stations)
            bought[offer.ring] = columns.add(most, whole=False, cost=offer.price, rings=1)
            supply = [(bought[offer.ring], -1.0)]
        copies = [
            (column, float(len(choice.stations[station].lenses))) for (station, _), column in placed.items()
        ]
        rows.add([*copies, *supply], -np.inf, offer.owned)
        on_station |= placed
    return on_station, bought
