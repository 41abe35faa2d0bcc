"""Verdict and confidence: the rules by which chances become a statement. The first that matches wins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from registry.consensus.constants import (
    CAMP_LIKELIHOOD_RATIO,
    DIFFER_EACH_SIDE,
    DIFFER_GAP_AV,
    DIFFER_SHARE,
    FAIR_CHANCE,
    FAIR_COUNT,
    FEW_GAP_AV,
    FEW_REPORTS,
    FIRM_CHANCE,
    FIRM_COUNT,
    GRID_STEP_AV,
    NEVER_CHANCE,
    SAFE_CHANCE,
    SAME_STOP_AV,
)
from registry.consensus.grid import EDGES, GRID_POINTS
from registry.consensus.rows import Rows

CODES = (
    "no-reports",
    "reports-differ",
    "one-report",
    "never-clean",
    "no-safe-stop",
    "clean-throughout",
    "clean-as-far-as-tested",
    "clean-to",
    "hot-from",
    "mixed",
)
"""The last two are only ever said of a single report, by "one-report"."""

CONFIDENCES = ("tentative", "fair", "firm")


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a cell's evidence amounts to; `sentences` puts it into words.

    f_number: the stop it states, as marked, where the code states one. says: what the only report says.
    """

    code: str
    f_number: float | None = None
    says: Verdict | None = None


@dataclass(frozen=True)
class Ruling:
    """Verdicts of many cells: code index into CODES, column of the stated stop (−1: none), confidence index
    into CONFIDENCES (−1: none), and for "one-report" what it says; each (cells,)."""

    code: np.ndarray
    column: np.ndarray
    confidence: np.ndarray
    says: np.ndarray
    says_column: np.ndarray


def camps(rows: Rows) -> tuple[np.ndarray, np.ndarray]:
    """Per unique row: Av up to which it says clean (−inf: no stop), Av from which hot (inf: none).

    Between the two lie the limits whose likelihood is within CAMP_LIKELIHOOD_RATIO of its best.
    """
    size = np.diff(rows.member_start)
    if not len(size):
        return np.empty(0), np.empty(0)
    mean = np.add.reduceat(rows.patterns[rows.members], rows.member_start[:-1], axis=0) / size[:, None]
    near = mean >= mean.max(axis=1, keepdims=True) - np.log(CAMP_LIKELIHOOD_RATIO)
    first = np.argmax(near, axis=1)
    last = GRID_POINTS - 1 - np.argmax(near[:, ::-1], axis=1)
    clean = np.where(first > 0, EDGES[first], -np.inf)
    hot = np.where(last < GRID_POINTS - 1, EDGES[last + 1], np.inf)
    return clean, hot


def rule(rows: Rows, chance: np.ndarray, low: np.ndarray, high: np.ndarray) -> Ruling:
    """Apply the rules to every cell. chance, low, high: (cells, V) over rows.cells.avs."""
    cells = rows.cells
    if not cells.count:
        return Ruling(*(np.empty(0, dtype=np.intp) for _ in range(5)))
    every = np.arange(cells.count)
    # Compared at the two decimals that readers see, so that "75 %" never stands beside "no safe stop".
    chance = np.round(chance.astype(float), 2)
    first, last = _ends(cells.tested)
    safe = cells.tested & (chance >= SAFE_CHANCE)
    stated = _ends(safe)[1]
    column = np.where(stated >= 0, stated, first)
    says, says_column = _single_reports(rows, first, last)
    code = _code_of_last_clean(cells, every, stated, last)
    code[stated < 0] = CODES.index("no-safe-stop")
    never = (first >= 0) & (cells.avs[first] <= cells.widest + SAME_STOP_AV)
    never &= chance[every, np.maximum(first, 0)] <= NEVER_CHANCE
    code[never] = CODES.index("never-clean")
    code[says >= 0] = CODES.index("one-report")
    code[_differ(rows) | ((rows.n_clusters == 0) & (rows.n_mixed > 1))] = CODES.index("reports-differ")
    code[(rows.n_clusters == 0) & (rows.n_mixed == 0)] = CODES.index("no-reports")
    states = np.isin(code, [CODES.index(name) for name in ("clean-as-far-as-tested", "clean-to")])
    bound = np.where(never, 1 - high[every, column], low[every, column])
    confident = never | (stated >= 0)
    return Ruling(
        code=code,
        column=np.where(states, column, -1),
        confidence=_confidence(code, rows.n_clusters, bound, confident),
        says=np.where(code == CODES.index("one-report"), says, -1),
        says_column=says_column,
    )


def _ends(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First and last true column of every row; −1 where there is none."""
    some = mask.any(axis=1)
    first = np.where(some, np.argmax(mask, axis=1), -1)
    last = np.where(some, mask.shape[1] - 1 - np.argmax(mask[:, ::-1], axis=1), -1)
    return first, last


def _confidence(code, n: np.ndarray, bound: np.ndarray, confident: np.ndarray) -> np.ndarray:
    """Firm and fair need independent reports and a bound of the chance at the stop that the verdict rests on."""
    level = np.zeros(len(code), dtype=np.intp)
    rules = [CODES.index(name) for name in ("no-reports", "reports-differ", "one-report", "no-safe-stop")]
    sure = confident & ~np.isin(code, rules)
    level[sure & (n >= FAIR_COUNT) & (bound >= FAIR_CHANCE)] = CONFIDENCES.index("fair")
    level[sure & (n >= FIRM_COUNT) & (bound >= FIRM_CHANCE)] = CONFIDENCES.index("firm")
    level[code == CODES.index("no-reports")] = -1
    return level


def _differ(rows: Rows) -> np.ndarray:
    """Whether two camps stand apart in a cell, (cells,)."""
    count = rows.cells.count
    differ = np.zeros(count, dtype=bool)
    if not len(rows.row_cell):
        return differ
    clean, hot = (ends[rows.row_unique] for ends in camps(rows))
    n = rows.n_clusters
    start = np.flatnonzero(np.append(True, np.diff(rows.row_cell) != 0))
    cell = rows.row_cell[start]
    gap = np.maximum.reduceat(clean, start) - np.minimum.reduceat(hot, start)
    slack = GRID_STEP_AV / 2
    differ[cell] = (n[cell] > 1) & (n[cell] <= FEW_REPORTS) & (gap >= FEW_GAP_AV - slack)
    apart = np.zeros(count, dtype=bool)
    apart[cell] = gap >= DIFFER_GAP_AV - slack
    for index in np.flatnonzero(apart & (n >= 2 * DIFFER_EACH_SIDE)):
        differ[index] |= _split(clean[rows.row_cell == index], hot[rows.row_cell == index], slack)
    return differ


def _split(clean: np.ndarray, hot: np.ndarray, slack: float) -> bool:
    """Whether at some stop enough clusters are hot at or before it and enough clean a full stop beyond."""
    stops = np.unique(hot[np.isfinite(hot)])
    is_hot = (hot[:, None] <= stops + slack).sum(axis=0)
    is_clean = (clean[:, None] >= stops + DIFFER_GAP_AV - slack).sum(axis=0)
    minority = np.minimum(is_hot, is_clean)
    return bool(np.any((minority >= DIFFER_EACH_SIDE) & (minority >= DIFFER_SHARE * len(clean))))


def _single_reports(rows: Rows, first: np.ndarray, last: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of cells with one cluster: code index of what it says (−1 elsewhere), and the column of its stop."""
    cells, n = rows.cells, rows.n_clusters
    says = np.full(cells.count, -1)
    column = np.full(cells.count, -1)
    says[(n == 0) & (rows.n_mixed == 1)] = CODES.index("mixed")
    alone = np.flatnonzero(n == 1)
    if not len(alone):
        return says, column
    clean = camps(rows)[0][rows.row_unique[np.searchsorted(rows.row_cell, alone)]]
    reached = _ends(cells.tested[alone] & (cells.avs <= clean[:, None] + GRID_STEP_AV / 2))[1]
    code = _code_of_last_clean(cells, alone, reached, last[alone])
    hot_all = cells.avs[np.maximum(first[alone], 0)] <= cells.widest[alone] + SAME_STOP_AV
    code[reached < 0] = CODES.index("hot-from")
    code[(reached < 0) & hot_all] = CODES.index("never-clean")
    says[alone] = code
    column[alone] = np.where(reached >= 0, reached, first[alone])
    return says, column


def _code_of_last_clean(cells, chosen, reached, last) -> np.ndarray:
    """Codes by how far clean reaches (columns) against how far anyone tested, of the chosen cells."""
    at_end = reached == last
    whole = at_end & (cells.avs[np.maximum(last, 0)] >= cells.narrowest[chosen] - SAME_STOP_AV)
    code = np.full(len(chosen), CODES.index("clean-to"))
    code[at_end] = CODES.index("clean-as-far-as-tested")
    code[whole] = CODES.index("clean-throughout")
    return code
