"""Solving a program for one aim after another, exactly, by SciPy's HiGHS."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from time import monotonic

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import vstack

from registry.errors import Problem, TooLarge
from registry.kits.program import Program, Rows

# Weights of merged aims stay below this, far from where a tolerance of 1e-6 could turn a whole number.
LARGEST_WEIGHT = 50_000
SECONDS_PER_SOLVE = 30.0  # where the program itself has no end


class OutOfTime(Exception):
    """The solver has no proven answer in the seconds that the extra gave it."""


@dataclass(frozen=True)
class Extra:
    """What is added to a program for one solve: rows (terms, lower, upper), columns that must stay 0, and a
    limit of seconds of its own."""

    rows: tuple[tuple[tuple[tuple[int, float], ...], float, float], ...] = ()
    closed: frozenset[int] = frozenset()
    seconds: float | None = None


def solve_in_order(program: Program, aims: Sequence[str], extra: Extra | None = None) -> np.ndarray | None:
    """Column values that are least in the first aim, among those in the second, and so on; None if none is feasible.

    Raises OutOfTime at the extra's own limit, TooLarge when the solver finds no answer in its time.
    """
    if not program.choice.routes:
        return np.zeros(len(program.upper))
    extra = extra or Extra()
    upper = program.upper.copy()
    upper[list(extra.closed)] = 0
    rows = Rows()
    for terms, low, high in extra.rows:
        rows.add(terms, low, high)
    values = None
    for weights in _merged(program, aims):
        values = _solve(program, weights, upper, rows, extra.seconds)
        if values is None:
            return None
        reached = round(float(weights @ values))
        rows.add(((column, float(weights[column])) for column in np.flatnonzero(weights)), -np.inf, reached)
    return values


def _merged(program: Program, aims: Iterable[str]) -> Iterator[np.ndarray]:
    """Joins neighbouring aims into one where whole-number weights keep their order and stay small."""
    pending = np.zeros(len(program.upper), dtype=np.int64)
    for aim in aims:
        weights, span = program.objectives[aim], program.ceilings[aim] + 1
        if int(pending.max(initial=0)) * span + int(weights.max(initial=0)) <= LARGEST_WEIGHT:
            pending = pending * span + weights
            continue
        yield pending
        pending = weights
    yield pending


def _solve(
    program: Program, weights: np.ndarray, upper: np.ndarray, extra: Rows, seconds: float | None
) -> np.ndarray | None:
    left = max(program.ends - monotonic(), 0.01)
    columns = len(upper)
    matrix = vstack([program.matrix, extra.matrix(columns)]) if extra.lower else program.matrix
    answer = milp(
        weights,
        integrality=program.whole,
        bounds=Bounds(0, upper),
        constraints=LinearConstraint(
            matrix, [*program.rows.lower, *extra.lower], [*program.rows.upper, *extra.upper]
        ),
        options={"mip_rel_gap": 0.0, "time_limit": min(seconds or SECONDS_PER_SOLVE, left)},
    )
    if answer.status == 2:
        return None
    if seconds and answer.status == 1:
        raise OutOfTime
    if answer.status != 0 or answer.x is None:
        raise TooLarge(
            Problem(
                code="kit-plan-not-solved",
                says=f"The solver stopped without the best plan: {answer.message}",
                remedy="Plan for a part of the bag at a time.",
            )
        )
    return answer.x
