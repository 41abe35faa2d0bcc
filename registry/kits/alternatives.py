"""Other kits that cost about as much, and the two answers that people compare a plan with."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

import numpy as np

from registry.kits.program import Program
from registry.kits.reading import Stock, leaves_out_nothing, read_stock
from registry.kits.solving import Extra, solve_in_order

WITHIN = Fraction(1, 10)


class Alternatives:
    """Kits within a tenth of the best one's cost (without prices: of its number of pieces).

    Two kits differ when they buy other filters; for each choice of filters the best rings are taken. One more is
    listed where the best kit's own filters allow fewer rings in front of the lenses. Kits with a filter that
    could be left out are none.
    """

    def __init__(self, program: Program, aims: Sequence[str], best: np.ndarray):
        self.program, self.aims, self.best = program, aims, best
        offers = zip(program.choice.filters, program.filter_columns, strict=True)
        self.for_sale = [column for offer, column in offers if not offer.owned]

    def find(self, most: int) -> tuple[list[Stock], bool]:
        """Up to `most` alternatives, best first, and whether more may exist."""
        if not self._spent(self.best):
            return [], False
        found = [read_stock(self.program, values) for values in self._fewer_placements()][:most]
        cuts = [self._other_filters(self.best)]
        for _ in range(2 * most + 2):
            values = solve_in_order(self.program, self.aims, Extra(rows=(self._affordable(), *cuts)))
            if values is None:
                return found, False
            if len(found) == most:
                return found, True
            cuts.append(self._other_filters(values))
            stock = read_stock(self.program, values)
            if leaves_out_nothing(self.program.choice, stock):
                found.append(stock)
        return found, True

    @property
    def _price(self) -> np.ndarray:
        """What kits are compared by: cost, or without prices the number of pieces to buy."""
        objectives = self.program.objectives
        return objectives["cost"] if "cost" in self.aims else objectives["filters"] + objectives["rings"]

    def _spent(self, values: np.ndarray) -> int:
        return round(float(self._price @ values))

    def _affordable(self) -> tuple:
        price = self._price
        limit = int(self._spent(self.best) * (1 + WITHIN))
        return tuple((column, float(price[column])) for column in np.flatnonzero(price)), -np.inf, limit

    def _other_filters(self, values: np.ndarray) -> tuple:
        """A row that forbids this very choice of filters to buy."""
        bought = [column for column in self.for_sale if values[column] > 0.5]
        terms = [(column, -1.0 if column in bought else 1.0) for column in self.for_sale]
        return tuple(terms), 1 - len(bought), np.inf

    def _fewer_placements(self) -> Iterator[np.ndarray]:
        """The best kit's filters with rings that stack less, where that is affordable."""
        placements = self.program.objectives["placements"]
        kept = tuple((((column, 1.0),), float(round(self.best[column])), np.inf) for column in self.for_sale)
        closed = frozenset(column for column in self.for_sale if self.best[column] < 0.5)
        aims = ("placements", *(aim for aim in self.aims if aim != "placements"))
        values = solve_in_order(self.program, aims, Extra((self._affordable(), *kept), closed))
        if values is not None and round(float(placements @ values)) < round(float(placements @ self.best)):
            yield values


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
