"""Learning the priors from a catalogue: empirical Bayes by expectation-maximisation."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from registry.consensus.arrays import arrays_of
from registry.consensus.beliefs import DEFAULT_PRIORS, Priors
from registry.consensus.cause_learning import learn_causes
from registry.consensus.causes import explain
from registry.consensus.constants import (
    BASE_LENSES,
    CELL_SPREAD_AV,
    CELL_SPREAD_LOG_SD,
    CELL_SPREADS_AV,
    PRIOR_PASSES,
    VISIBLE_EV,
)
from registry.consensus.curves import settle
from registry.consensus.evidence import Lens, Report
from registry.consensus.grid import GRID
from registry.consensus.pooling import lens_beliefs, normalised
from registry.consensus.rows import Rows, compile_rows

__all__ = ["DEFAULT_PRIORS", "Priors", "fit_priors", "learn_priors"]


def fit_priors(
    catalogue: Iterable[tuple[Lens, Sequence[Report]]],
    base: Priors = DEFAULT_PRIORS,
    visible_ev: float = VISIBLE_EV,
) -> Priors:
    """Learn the priors from a catalogue of (lens, reports) pairs by expectation-maximisation.

    The base counts for BASE_LENSES lenses. visible_ev: threshold (EV) that readings are judged at and that
    the result holds for.
    """
    cases = list(catalogue)
    rows, moved = compile_rows(arrays_of(cases, visible_ev)), base.at(visible_ev)
    first = learn_priors(rows, moved)
    if not first.lenses:
        return moved
    # A lens whose reports a cause splits would teach that tests scatter widely; so it counts as far as
    # nothing splits it, judged with the spreads that were believed before.
    judging = replace(first, spreads=moved.spreads)
    explanations = [explain(lens, reports, judging, visible_ev) for lens, reports in cases]
    taught, weights = learn_causes(explanations, moved)
    learned = learn_priors(rows, taught, weights)
    between = learn_cell_spread(rows, learned, weights)
    return learn_priors(rows, replace(taught, cell_spread=between), weights)


def learn_cell_spread(rows: Rows, priors: Priors, weights: np.ndarray | None = None) -> float:
    """How far apart a lens's cells lie (stops): posterior mean over CELL_SPREADS_AV, given the other priors.

    Told by those who tested in one cell only: someone's own habits make their results in several cells alike,
    which says nothing about the lens.
    """
    candidates = np.array(CELL_SPREADS_AV)
    held = -0.5 * (np.log(candidates / CELL_SPREAD_AV) / CELL_SPREAD_LOG_SD) ** 2
    told = [
        lens_beliefs(rows, replace(priors, cell_spread=spread), weights, strangers=True).evidence
        for spread in CELL_SPREADS_AV
    ]
    return float(normalised(held + np.array(told)) @ candidates)


def learn_priors(rows: Rows, base: Priors = DEFAULT_PRIORS, weights: np.ndarray | None = None) -> Priors:
    """As fit_priors, from compiled rows. weights: how much each lens counts, shape (lenses,)."""
    priors = base
    for _ in range(PRIOR_PASSES):
        beliefs = lens_beliefs(rows, priors, weights)
        if not beliefs.count:
            return base
        limits, spreads = settle(beliefs, priors, float(np.array(base.limits) @ GRID))
        priors = replace(
            base,
            limits=tuple(limits.tolist()),
            spreads=tuple(spreads.tolist()),
            offsets=_offsets(beliefs.band_moves, base),
            lenses=beliefs.count,
        )
    return priors


def _offsets(band_moves: Mapping[str, tuple[float, float]], base: Priors) -> dict[str, float]:
    """Mean move of each band's cells against their lens, held to the base by BASE_LENSES cells."""
    names: Sequence[str] = sorted({*band_moves, *base.offsets})
    offsets = {}
    for name in names:
        total, count = band_moves.get(name, (0.0, 0.0))
        held = base.offsets.get(name, 0.0)
        offsets[name] = round((total + BASE_LENSES * held) / (count + BASE_LENSES), 4)
    return offsets
