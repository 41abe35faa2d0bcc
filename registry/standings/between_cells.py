"""Cells of one lens that contradict each other although no condition explains it. Pure.

Cells may differ: the model lets each lie about the lens's own limit, with its band's offset, by a standard deviation
of priors.cell_spread (methods, B4). A likely cause that cells keep apart, such as the cut-on, explains more than that.
What neither explains is as much a contradiction as one within a cell: clean to f/11 at 650 and at 830 nm, hot from f/4
at 720 nm.

Seen on simulated lenses of three bands with four testers each: none of 150 whose cells differ as the model says was
taken for one; of 40 with the middle band three stops off 14 were, at four stops 24.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from registry.consensus.assessment import assess_catalogue
from registry.consensus.beliefs import Priors
from registry.consensus.constants import CAUSE_LIKELY
from registry.consensus.descriptive import reports_in
from registry.consensus.evidence import Lens, Report
from registry.consensus.pooling import band_offset
from registry.standings.contradictions import Contradiction, told_alone
from registry.standings.models import Standing

BETWEEN = "between-cells"
LEAST_VOICES = 2
APART_P = 0.01  # as a report that stands apart (methods, B6), over all cells of the lens
_SE_OF_90_PERCENT = 2 * norm.ppf(0.95)


@dataclass(frozen=True)
class _Cell:
    """What one cell's evidence alone says. limit: Av less its band's offset; se: its standard error."""

    row: Standing
    entries: Sequence[Report]
    limit: float
    se: float


def contradiction_between(
    rows: Sequence[Standing], optics: Lens, entries: Sequence[Report], priors: Priors
) -> list[Contradiction]:
    """The cell that agrees least with the others, if it lies further off than cells do; at most one."""
    if any(row.causes and row.causes[0]["posterior"] >= CAUSE_LIKELY for row in rows):
        return []
    cells = _cells(rows, optics, entries, priors)
    if len(cells) < 2:
        return []
    apart = np.array([_apart(place, cells, priors.cell_spread) for place in range(len(cells))])
    voices = [cell.row.n_independent for cell in cells]
    # Of two cells each is as far from the other: the one with fewer voices is said to stand apart.
    worst = min(range(len(cells)), key=lambda place: (-round(float(apart[place]), 9), voices[place]))
    if 2 * norm.sf(apart[worst]) * len(cells) >= APART_P:
        return []
    row, own = cells[worst].row, cells[worst].entries
    others = [entry for place, cell in enumerate(cells) if place != worst for entry in cell.entries]
    camps = {"suspect": told_alone(optics, own), "others": told_alone(optics, others)}
    return [Contradiction(row, BETWEEN, f"between:{row.cut_on_group}:{row.focal_zone}", camps)]


def _cells(rows: Sequence[Standing], optics: Lens, entries: Sequence[Report], priors: Priors) -> list[_Cell]:
    """Cells of several voices whose own evidence says where their limit lies."""
    several = [row for row in rows if row.n_independent >= LEAST_VOICES]
    evidence = [list(reports_in(optics, entries, row.cut_on_group, row.focal_zone)) for row in several]
    alone = [(optics, own) for own in evidence]
    assessed = assess_catalogue(alone, priors, with_causes=False) if several else []
    found = []
    for row, own, assessment in zip(several, evidence, assessed, strict=True):
        cell = assessment.cell(row.cut_on_group, row.focal_zone)
        if cell is not None and cell.n_independent >= LEAST_VOICES:
            limit = cell.limit_av
            offset = band_offset(priors, row.cut_on_group)
            se = (limit.high - limit.low) / _SE_OF_90_PERCENT
            found.append(_Cell(row, own, limit.median - offset, se))
    return found


def _apart(place: int, cells: Sequence[_Cell], cell_spread: float) -> float:
    """By how many standard deviations a cell lies off what the others predict."""
    cell, others = cells[place], [one for index, one in enumerate(cells) if index != place]
    weights = np.array([1 / (one.se**2 + cell_spread**2) for one in others])
    predicted = float(weights @ np.array([one.limit for one in others]) / weights.sum())
    spread = np.sqrt(1 / weights.sum() + cell.se**2 + cell_spread**2)
    return abs(cell.limit - predicted) / float(spread)
