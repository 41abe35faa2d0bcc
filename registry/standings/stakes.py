"""How much a verdict hangs on a contradiction. Pure."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from registry.consensus.arrays import arrays_of
from registry.consensus.assessment import assess_arrays
from registry.consensus.beliefs import Priors
from registry.consensus.chances import chances
from registry.consensus.constants import READERS_STOPS_AV
from registry.consensus.evidence import Lens, Report


def stake_of(
    optics: Lens,
    entries: Sequence[Report],
    cell: tuple[str, str],
    sides: Sequence[Collection[str]],
    priors: Priors,
) -> float:
    """The largest change of the chance of a clean frame, at a stop that readers use, if one side were not there.

    cell: (cut-on group, focal zone). sides: ids of the evidence on each; removing all there is tells nothing.
    """
    without = [[entry for entry in entries if entry.id not in set(side)] for side in sides if side]
    cases = [list(entries), *(rest for rest in without if rest)]
    asked = [(index, *cell) for index in range(len(cases))]
    assessed = assess_arrays(arrays_of([(optics, case) for case in cases], asked=asked), priors)
    cells = assessed.rows.cells
    here = [index for index in range(cells.count) if (cells.band[index], cells.zone[index]) == cell]
    chance = chances(assessed.pooled.posterior[here], np.array(READERS_STOPS_AV))
    return float(np.abs(chance[1:] - chance[0]).max()) if len(here) > 1 else 0.0
