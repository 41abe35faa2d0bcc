"""Other kits that cost about as much, and the two answers that people compare a plan with."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from heapq import heappop, heappush
from itertools import count
from time import monotonic

import numpy as np

from registry.kits.program import Program
from registry.kits.reading import Stock, leaves_out_nothing, read_stock
from registry.kits.solving import Extra, OutOfTime, solve_in_order

WITHIN = Fraction(1, 10)

# Kits looked at for each one wanted.
STEPS_PER_KIT = 3

# What the search may take. Bags of a dozen lenses need a tenth of it; a harder part is given up, the answer says so.
SECONDS = 5.0


@dataclass(frozen=True)
class Part:
    """A part of all kits: those that buy a filter of each diameter in `kept` and of none in `dropped`, at least
    `further` others, and at most this many rings."""

    kept: frozenset[float] = frozenset()
    dropped: frozenset[float] = frozenset()
    further: int = 0
    rings: int | None = None


@dataclass(frozen=True, order=True)
class Sketch:
    """The best kit of a part: its place in the order of kits, the part, and the diameters that it buys."""

    rank: tuple[int, ...]
    turn: int
    part: Part = field(compare=False)
    values: np.ndarray = field(compare=False)


class Alternatives:
    """Kits within a tenth of the best one's cost (without prices: of its number of pieces).

    Two kits differ when they buy filters of other diameters; for each choice of diameters the best rings are
    taken. One more is listed where the best kit's own filters allow fewer rings in front of the lenses. A filter
    more must save a ring, and kits with a filter that could be left out are none.

    The search parts the kits around each one found, best first (Lawler, Management Science 18, 1972, 401–405).
    """

    def __init__(self, program: Program, aims: Sequence[str], best: np.ndarray):
        self.program, self.aims, self.best = program, aims, best
        offers = zip(program.choice.filters, program.filter_columns, strict=True)
        self.for_sale = [column for offer, column in offers if not offer.owned]
        self.turns = count()
        self.gave_up = False
        self.ends = monotonic() + SECONDS

    def find(self, most: int) -> tuple[list[Stock], bool]:
        """Up to `most` alternatives, best first, and whether more may exist.

        Only where the search runs out of time may another machine list others.
        """
        if not most or not self._reached(self._price, self.best):
            return [], False
        found = list(self._fewer_placements())[:most]
        open_parts: list[Sketch] = []
        self._push(open_parts, self._around(Sketch((), 0, Part(), self.best)))
        for _ in range(STEPS_PER_KIT * most):
            if not open_parts or len(found) == most:
                break
            sketch = heappop(open_parts)
            kit = self._with_filters_of(sketch.values, self.aims)
            if leaves_out_nothing(self.program.choice, read_stock(self.program, kit)):
                found.append(kit)
            if len(found) == most:
                return self._in_order(found), True
            self._push(open_parts, self._around(sketch))
        return self._in_order(found), self.gave_up or bool(open_parts)

    def _in_order(self, kits: list[np.ndarray]) -> list[Stock]:
        return [read_stock(self.program, values) for values in sorted(kits, key=self._rank)]

    def _rank(self, values: np.ndarray) -> tuple[int, ...]:
        return tuple(self._reached(self.program.objectives[aim], values) for aim in self.aims)

    def _push(self, open_parts: list[Sketch], parts: Iterable[Part]) -> None:
        for part in parts:
            try:
                values = solve_in_order(self.program, self._first_aims, self._limits(part))
            except OutOfTime:
                self.gave_up = True
                continue
            if values is not None:
                heappush(open_parts, Sketch(self._rank(values), next(self.turns), part, values))

    def _around(self, sketch: Sketch) -> Iterator[Part]:
        """Parts that together hold what the sketch's part holds beside the sketch and kits with idle filters."""
        part = sketch.part
        bought = {size for size, column in self._sizes if sketch.values[column] > 0.5}
        kept = set(part.kept)
        for size in sorted(bought - kept):
            yield Part(frozenset(kept), part.dropped | {size}, 0, part.rings)
            kept.add(size)
        rings = self._reached(self.program.objectives["rings"], sketch.values)
        if rings and len(self._sizes) > len(kept | part.dropped):
            yield Part(frozenset(kept), part.dropped, 1, rings - 1)

    def _seconds_left(self) -> float:
        left = self.ends - monotonic()
        if left <= 0:
            raise OutOfTime
        return left

    @property
    def _sizes(self) -> list[tuple[float, int]]:
        return list(self.program.diameter_columns.items())

    def _limits(self, part: Part) -> Extra:
        rows = [self._affordable()]
        rows += [(((column, 1.0),), 1, np.inf) for size, column in self._sizes if size in part.kept]
        closed = frozenset(column for size, column in self._sizes if size in part.dropped)
        if part.further:
            others = tuple(
                (column, 1.0) for size, column in self._sizes if size not in part.kept | part.dropped
            )
            rows.append((others, part.further, np.inf))
        if part.rings is not None:
            rows.append((_terms(self.program.objectives["rings"]), -np.inf, part.rings))
        return Extra(tuple(rows), closed, self._seconds_left())

    @property
    def _first_aims(self) -> tuple[str, ...]:
        """Aims that a part is searched by; the rest is settled once its filters are known."""
        return ("cost",) if "cost" in self.aims else ("filters", "rings")

    @property
    def _price(self) -> np.ndarray:
        """What kits are compared by: cost, or without prices the number of pieces to buy."""
        objectives = self.program.objectives
        return objectives["cost"] if "cost" in self.aims else objectives["filters"] + objectives["rings"]

    @staticmethod
    def _reached(weights: np.ndarray, values: np.ndarray) -> int:
        return round(float(weights @ values))

    def _affordable(self) -> tuple:
        limit = int(self._reached(self._price, self.best) * (1 + WITHIN))
        return _terms(self._price), -np.inf, limit

    def _with_filters_of(self, values: np.ndarray, aims: Sequence[str]) -> np.ndarray:
        """The best answer that buys the same filters, for as much at the most."""
        kept = tuple((((column, 1.0),), 1.0, np.inf) for column in self.for_sale if values[column] > 0.5)
        closed = frozenset(column for column in self.for_sale if values[column] < 0.5)
        return solve_in_order(self.program, aims, Extra((self._affordable(), *kept), closed))

    def _fewer_placements(self) -> Iterator[np.ndarray]:
        """The best kit's filters with rings that stack less, where that is affordable."""
        placements = self.program.objectives["placements"]
        aims = ("placements", *(aim for aim in self.aims if aim != "placements"))
        values = self._with_filters_of(self.best, aims)
        if self._reached(placements, values) < self._reached(placements, self.best):
            yield values


def _terms(weights: np.ndarray) -> tuple[tuple[int, float], ...]:
    return tuple((int(column), float(weights[column])) for column in np.flatnonzero(weights))


def plain_answer(program: Program, aims: Sequence[str]) -> np.ndarray | None:
    """Filters only for the largest thread that needs each cut-on, rings for the rest (common practice, no source)."""
    largest: dict[float, float] = {}
    for target in program.choice.routes:
        thread = program.choice.stations[target.station].thread_mm
        largest[target.cut_on_nm] = max(thread, largest.get(target.cut_on_nm, 0))
    closed = frozenset(
        column
        for offer, column in zip(program.choice.filters, program.filter_columns, strict=True)
        if offer.filter.diameter_mm not in largest.values()
    )
    return solve_in_order(program, aims, Extra(closed=closed))


def filter_per_thread(program: Program, aims: Sequence[str]) -> np.ndarray | None:
    """A filter for every thread and no ring at all."""
    return solve_in_order(program, aims, Extra(closed=frozenset(program.ring_columns.values())))
