"""Suspect reports: what the others would hardly have foretold. They go to a moderator, never away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from registry.consensus.chances import clean_chances
from registry.consensus.constants import SUSPECT_P
from registry.consensus.grid import EDGES
from registry.consensus.pooling import Pool, normalised
from registry.consensus.rows import Rows, run_starts


@dataclass(frozen=True, slots=True)
class Suspect:
    """Reports of one cluster, and the two-sided predictive probability of what they say given the others."""

    report_ids: tuple[str, ...]
    p: float


def suspect_rows(rows: Rows, pooled: Pool) -> tuple[np.ndarray, np.ndarray]:
    """Rows whose leave-one-out predictive p is below SUSPECT_P, and those p."""
    clean, hot = (ends[rows.row_unique] for ends in rows.camps)
    chosen = np.flatnonzero(_contradicted(rows, clean, hot))
    if not len(chosen):
        return chosen, np.empty(0)
    cells, unique = rows.row_cell[chosen], rows.row_unique[chosen]
    others = pooled.cell_logs[cells] - pooled.row_logs[unique] + pooled.prior_logs[cells]
    beyond = normalised(others) @ clean_chances(EDGES).astype(others.dtype)
    p = _two_sided(beyond, clean[chosen], hot[chosen])
    found = p < SUSPECT_P
    return chosen[found], p[found]


def _contradicted(rows: Rows, clean: np.ndarray, hot: np.ndarray) -> np.ndarray:
    """Rows that some other row of their cell contradicts; nothing else can surprise."""
    if not len(rows.row_cell):
        return np.zeros(0, dtype=bool)
    start = run_starts(rows.row_cell)
    size = np.diff(np.append(start, len(rows.row_cell)))
    earliest_hot = np.repeat(np.minimum.reduceat(hot, start), size)
    latest_clean = np.repeat(np.maximum.reduceat(clean, start), size)
    return (clean > earliest_hot) | (hot < latest_clean)


def _two_sided(beyond: np.ndarray, clean: np.ndarray, hot: np.ndarray) -> np.ndarray:
    """2 min(P(limit < hot), P(limit ≥ clean)) from P(limit ≥ edge), (rows, edges)."""
    row = np.arange(len(beyond))
    at_hot = beyond[row, np.searchsorted(EDGES, np.minimum(hot, EDGES[-1]) - 1e-6)]
    at_clean = beyond[row, np.searchsorted(EDGES, np.maximum(clean, EDGES[0]) - 1e-6)]
    below_hot = np.where(np.isinf(hot), 1.0, 1 - at_hot)
    from_clean = np.where(np.isinf(clean), 1.0, at_clean)
    return np.minimum(2 * np.minimum(below_hot, from_clean), 1.0)
