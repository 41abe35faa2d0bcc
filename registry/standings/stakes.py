"""How much a verdict hangs on each contradiction. Pure."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from registry.consensus.arrays import EvidenceArrays, arrays_of
from registry.consensus.beliefs import Priors
from registry.consensus.chances import chances
from registry.consensus.constants import READERS_STOPS_AV
from registry.consensus.evidence import Lens, Report
from registry.consensus.pooling import pool
from registry.consensus.rows import compile_rows

Cell = tuple[str, str]  # cut-on group, focal zone
Split = tuple[Cell, Sequence[Collection[str]]]  # ids of the evidence on each side

SPLITS_AT_ONCE = 16


def stakes_of(
    optics: Lens, entries: Sequence[Report], splits: Sequence[Split], priors: Priors
) -> list[float]:
    """Of each split of a light path's evidence, the largest change of the chance of a clean frame in its cell, at a
    stop that readers use, if one side were not there. Removing all there is tells nothing.

    Asked for together, because the evidence then becomes columns once: a lens of many reports has many splits.
    """
    whole = arrays_of([(optics, entries)], asked=[(0, *cell) for cell, _ in splits])
    found: list[float] = []
    for begun in range(0, len(splits), SPLITS_AT_ONCE):
        here = slice(begun, begun + SPLITS_AT_ONCE)
        part = replace(whole, asked=whole.asked[here])
        found += _stakes(part, [entry.id for entry in entries], splits[here], priors)
    return found


def _stakes(
    whole: EvidenceArrays, ids: Sequence[str], splits: Sequence[Split], priors: Priors
) -> list[float]:
    """whole: asks for every split's cell."""
    everything = np.ones(len(ids), dtype=bool)
    cases = [(number, everything) for number in range(len(splits))]
    for number, (_, sides) in enumerate(splits):
        rests = (~np.isin(ids, list(side)) for side in sides if side)
        cases += [(number, rest) for rest in rests if rest.any()]
    chance = _chances(whole, cases, [cell for cell, _ in splits], priors)
    moved = np.abs(chance - chance[[number for number, _ in cases]]).max(axis=1)
    stakes = np.zeros(len(splits))
    np.maximum.at(stakes, [number for number, _ in cases], moved)
    return stakes.tolist()


def _chances(
    whole: EvidenceArrays, cases: Sequence[tuple[int, np.ndarray]], cells: Sequence[Cell], priors: Priors
) -> np.ndarray:
    """Chance at the stops that readers use in each case's cell, (cases, stops). cases: (number of the cell, which
    reports are there)."""
    numbers = [number for number, _ in cases]
    rows = compile_rows(whole.cases(np.array([rest for _, rest in cases]), whole.asked[numbers, 1:]))
    names = zip(rows.cells.lens.tolist(), rows.cells.band, rows.cells.zone, strict=True)
    place = {name: cell for cell, name in enumerate(names)}
    here = [place[case, *cells[number]] for case, number in enumerate(numbers)]
    return chances(pool(rows, priors).posterior[here], np.array(READERS_STOPS_AV))
