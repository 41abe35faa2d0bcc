"""Verdict and confidence: the rules by which chances become a statement. The first that matches wins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from registry.consensus.constants import (
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
from registry.consensus.grid import EDGES
from registry.consensus.rows import Rows, run_starts

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

# Tables by code, which cost less than asking whether a code is among some.
_STATES_A_STOP = np.array([name in ("clean-as-far-as-tested", "clean-to") for name in CODES])
_NEVER_SURE = np.array(
    [name in ("no-reports", "reports-differ", "one-report", "no-safe-stop") for name in CODES]
)


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
    bound = np.where(never, 1 - high[every, column], low[every, column])
    confident = never | (stated >= 0)
    return Ruling(
        code=code,
        column=np.where(_STATES_A_STOP[code], column, -1),
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
    sure = confident & ~_NEVER_SURE[code]
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
    clean, hot = (ends[rows.row_unique] for ends in rows.camps)
    n = rows.n_clusters
    start = run_starts(rows.row_cell)
    cell = rows.row_cell[start]
    gap = np.maximum.reduceat(clean, start) - np.minimum.reduceat(hot, start)
    slack = GRID_STEP_AV / 2
    differ[cell] = (n[cell] > 1) & (n[cell] <= FEW_REPORTS) & (gap >= FEW_GAP_AV - slack)
    apart = np.zeros(count, dtype=bool)
    apart[cell] = gap >= DIFFER_GAP_AV - slack
    apart &= n >= 2 * DIFFER_EACH_SIDE
    if apart.any():
        torn = apart[rows.row_cell]
        differ[_split(rows.row_cell[torn], clean[torn], hot[torn], slack)] = True
    return differ


def _split(cell: np.ndarray, clean: np.ndarray, hot: np.ndarray, slack: float) -> np.ndarray:
    """Cells where at some stop enough clusters are hot at or before it and enough clean a full stop beyond.

    cell, clean, hot: per row, sorted by cell. The stops to look at are those where some row turns hot.
    """
    names, place, size = np.unique(cell, return_inverse=True, return_counts=True)
    stops = len(EDGES) + 1  # the last for what never turns hot
    turns, reaches = np.searchsorted(EDGES, hot - slack), np.searchsorted(EDGES, clean + slack)
    beyond = np.searchsorted(EDGES, hot + DIFFER_GAP_AV - slack)
    hot_by, clean_by = (
        np.bincount(place * stops + at, minlength=len(names) * stops).reshape(-1, stops).cumsum(axis=1)
        for at in (turns, reaches)
    )
    size, is_hot = size[place], hot_by[place, turns]
    is_clean = size - clean_by[place, beyond]
    minority = np.minimum(is_hot, is_clean)
    return cell[(minority >= DIFFER_EACH_SIDE) & (minority >= DIFFER_SHARE * size) & np.isfinite(hot)]


def _single_reports(rows: Rows, first: np.ndarray, last: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of cells with one cluster: code index of what it says (−1 elsewhere), and the column of its stop."""
    cells, n = rows.cells, rows.n_clusters
    says = np.full(cells.count, -1)
    column = np.full(cells.count, -1)
    says[(n == 0) & (rows.n_mixed == 1)] = CODES.index("mixed")
    alone = np.flatnonzero(n == 1)
    if not len(alone):
        return says, column
    clean = rows.camps[0][rows.row_unique[np.searchsorted(rows.row_cell, alone)]]
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
