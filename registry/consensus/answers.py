"""An answer to one reader's question: this lens, with this rig, at this focal length."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from registry.consensus.arrays import arrays_of, band_of, zone_of
from registry.consensus.assessment import Limit, Standings, assess_arrays, cell_assessment
from registry.consensus.beliefs import DEFAULT_PRIORS, SHIFTS, Priors
from registry.consensus.causes import Explanations, explain_rows
from registry.consensus.cells import UNSTATED, zones_of
from registry.consensus.chances import chance_bands, chances, limit_quantiles
from registry.consensus.constants import GRID_STEP_AV, VISIBLE_EV
from registry.consensus.evidence import Lens, Report
from registry.consensus.grid import GRID_POINTS, kernel
from registry.consensus.pooling import band_offset
from registry.consensus.verdicts import Verdict, rule
from registry.optics.stops import exact_av


@dataclass(frozen=True, slots=True)
class Question:
    """What a reader wants to know; any condition may be None: any. copy: of one that reports name."""

    cut_on_nm: float | None = None
    focal_mm: float | None = None
    filter_position: str | None = None
    body: str | None = None
    method: str | None = None
    cut_on_group: str | None = None
    copy: str | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """p_clean: chance per asked stop, keyed by the f-number as asked. explanation: the factor that likely
    splits the reports, or None. The rest as in CellAssessment, for the question's cell."""

    p_clean: dict[float, float]
    limit_av: Limit
    explanation: str | None
    n_independent: int
    verdict: Verdict
    confidence: str | None


def question_cell(lens: Lens, question: Question) -> tuple[str, str]:
    """The cell (band, zone) that a question falls into."""
    zone = zone_of(question.focal_mm, zones_of(lens.focal_min, lens.focal_max))
    return band_of(question) or UNSTATED, zone or UNSTATED


def answer(
    lens: Lens,
    reports: Sequence[Report],
    question: Question,
    stops: Sequence[float],
    priors: Priors = DEFAULT_PRIORS,
    *,
    visible_ev: float = VISIBLE_EV,
) -> Answer:
    """Answer from checked reports. stops: f-numbers as marked whose chances are wanted.

    Under each candidate cause, reports made under other conditions are moved to the question's; the results
    are averaged with the plain one by how likely each is, named or not: with few reports a hint of a cause
    improves the chances long before it can be named. A question that leaves cut-on or focal length open is about
    all reports, whatever theirs.
    """
    moved = priors.at(visible_ev)
    cell = question_cell(lens, question)
    arrays = arrays_of([(lens, _regardless(reports, cell))], visible_ev, [(0, *cell)])
    standings = assess_arrays(arrays, moved)
    cells = standings.rows.cells
    index = list(zip(cells.band, cells.zone, strict=True)).index(cell)
    explanations = explain_rows(reports, arrays, standings.rows, moved, question)
    causes = explanations.causes()
    posterior = standings.pooled.posterior[index : index + 1]
    if explanations.tried:
        own_way = cell_departure(standings.rows.n_clusters, index) * moved.cell_spread
        posterior = _averaged(posterior, explanations, question, moved, cell[0], own_way)
        standings = _with_posterior(standings, index, posterior)
    said = cell_assessment(standings, index)
    wanted = chances(posterior, np.array([exact_av(stop) for stop in sorted(stops)]))[0]
    by_stop = dict(zip(sorted(stops), wanted.tolist(), strict=True))
    return Answer(
        p_clean={stop: by_stop[stop] for stop in stops},
        limit_av=said.limit_av,
        explanation=causes[0].factor if causes and causes[0].likely else None,
        n_independent=said.n_independent,
        verdict=said.verdict,
        confidence=said.confidence,
    )


def _regardless(reports: Sequence[Report], cell: tuple[str, str]) -> list[Report]:
    """The reports without what a question's cell leaves open, so that all of them fall into it."""
    open_now: dict[str, None] = {}
    if cell[0] == UNSTATED:
        open_now |= {"cut_on_nm": None, "cut_on_group": None}
    if cell[1] == UNSTATED:
        open_now |= {"focal_mm": None}
    return [replace(report, **open_now) for report in reports] if open_now else list(reports)


def cell_departure(n_clusters: np.ndarray, index: int) -> float:
    """How far one cell's limit strays from the mean of all clusters' limits, in spreads between cells.

    n_clusters: evidence per cell. With shares w of it the mean strays by Σ w μ, so that the difference has variance
    (1 − w_own)² + Σ_others w²; none where all evidence is the cell's own.
    """
    share = n_clusters / max(n_clusters.sum(), 1)
    others = np.delete(share, index)
    return float(np.sqrt((1 - share[index]) ** 2 + others @ others))


def _averaged(
    plain, explanations: Explanations, question: Question, priors: Priors, band: str, own_way: float
) -> np.ndarray:
    """The plain posterior and those under each contrast, moved to the question, weighted by how likely each is.

    own_way: standard deviation (stops) of the question's cell against what a contrast pools over all cells.
    """
    split = np.zeros_like(plain[0])
    offset = band_offset(priors, band)
    for explained in explanations.tried:
        for weight, share in explained.contrast.weights_of(question):
            steps = np.round((weight * SHIFTS + offset) / GRID_STEP_AV).astype(np.intp)
            split += explained.weight * share * _moved(explained.joint, steps).ravel()
    blurred = split.reshape(-1, GRID_POINTS) @ kernel(round(own_way, 1))  # few kernels, which are then kept
    return (explanations.none * plain[0] + blurred.ravel())[None]


def _moved(joint: np.ndarray, steps: np.ndarray) -> np.ndarray:
    """Joint (shifts, spreads, G) with every shift's limits moved by its steps, summed over shifts."""
    total = np.zeros(joint.shape[1:])
    for mass, step in zip(joint, steps.tolist(), strict=True):
        place = np.clip(np.arange(GRID_POINTS) + step, 0, GRID_POINTS - 1)
        np.add.at(total, (slice(None), place), mass)
    return total


def _with_posterior(standings: Standings, index: int, posterior: np.ndarray) -> Standings:
    rows = standings.rows
    chance, (low, high) = chances(posterior, rows.cells.avs), chance_bands(posterior, rows.cells.avs)
    changed = {
        "chance": chance,
        "low": np.minimum(low, chance),
        "high": np.maximum(high, chance),
        "limits": limit_quantiles(posterior),
    }
    arrays = {name: _row_replaced(getattr(standings, name), index, row) for name, row in changed.items()}
    new = replace(standings, **arrays)
    return replace(new, ruling=rule(rows, new.chance, new.low, new.high))


def _row_replaced(table: np.ndarray, index: int, row: np.ndarray) -> np.ndarray:
    table = table.copy()
    table[index] = row[0]
    return table
