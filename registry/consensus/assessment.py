"""The door of this room: evidence about lenses in, assessments out."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from registry.consensus.arrays import EvidenceArrays, arrays_of
from registry.consensus.beliefs import DEFAULT_PRIORS, Priors
from registry.consensus.causes import Cause, explain, explain_rows
from registry.consensus.chances import chance_bands, chances, expected_information, limit_quantiles
from registry.consensus.constants import METHOD_VERSION, SPREADS, VISIBLE_EV
from registry.consensus.disagreement import Suspect, suspect_rows
from registry.consensus.evidence import Lens, Report
from registry.consensus.pooling import Pool, pool
from registry.consensus.rows import Rows, compile_rows, run_starts
from registry.consensus.verdicts import CODES, CONFIDENCES, Ruling, Verdict, rule
from registry.optics.stops import f_number_of, nearest_marks

CELLS_AT_A_TIME = 400
"""Cells whose tables (spreads × grid, single precision) fit a processor's second-level cache."""

THREADS = 2


@dataclass(frozen=True, slots=True)
class StopChance:
    """Chance of a clean frame at one stop, with its 90 % band.

    tested: whether anyone tested it. on_ladder: whether it is a rung of the lens's ladder (widest, full
    stops, narrowest) or a stop between them that somebody tested.
    """

    f_number: float
    p_clean: float
    low: float
    high: float
    tested: bool
    on_ladder: bool = True


@dataclass(frozen=True, slots=True)
class Limit:
    """The clean limit (Av): median and 90 % interval. open_low, open_high: whether that end lies beyond
    what was tested and is the prior's rather than the evidence's."""

    low: float
    median: float
    high: float
    open_low: bool
    open_high: bool

    @property
    def triple(self) -> tuple[float, float, float]:
        return (self.low, self.median, self.high)


@dataclass(frozen=True, slots=True)
class CellAssessment:
    """What is known of a lens in one cut-on band and focal zone.

    n_reports: reports with evidence; n_independent: clusters among them, and those that say only "mixed".
    confidence: "firm", "fair", "tentative", or None without reports. spread: median spread of
    independent tests' limits, in stops. expected_information: bits that one more report would bring.
    """

    band: str
    focal_zone: str
    n_reports: int
    n_independent: int
    stops: tuple[StopChance, ...]
    limit_av: Limit
    spread: float
    verdict: Verdict
    confidence: str | None
    suspects: tuple[Suspect, ...]
    expected_information: float
    n_mixed: int
    n_nothing_found: int


@dataclass(frozen=True, slots=True)
class LensAssessment:
    """All cells of one lens, by band and zone, and what may explain that its reports differ.

    causes: ranked, the likeliest first; over all cells, since a cause may be what separates them.
    """

    lens: Lens
    cells: tuple[CellAssessment, ...]
    causes: tuple[Cause, ...]
    method_version: str = METHOD_VERSION

    def cell(self, band: str, focal_zone: str) -> CellAssessment | None:
        """The cell of a band and zone, if it was assessed."""
        return next((c for c in self.cells if (c.band, c.focal_zone) == (band, focal_zone)), None)


@dataclass(frozen=True)
class Standings:
    """Every cell of a catalogue as arrays: chance, low, high (cells, V) over rows.cells.avs; limits (cells, 3);
    information (cells,); the ruling."""

    rows: Rows
    pooled: Pool | None
    chance: np.ndarray
    low: np.ndarray
    high: np.ndarray
    limits: np.ndarray
    information: np.ndarray
    ruling: Ruling


def assess_arrays(
    arrays: EvidenceArrays,
    priors: Priors = DEFAULT_PRIORS,
    *,
    dtype: str = "float64",
) -> Standings:
    """Assess a catalogue given as columns; priors must hold for the threshold the columns were made at."""
    rows = compile_rows(arrays)
    pooled = pool(rows, priors, dtype)
    avs = rows.cells.avs
    chance = chances(pooled.posterior, avs)
    low, high = chance_bands(pooled.posterior, avs)
    return Standings(
        rows=rows,
        pooled=pooled,
        chance=chance,
        low=np.minimum(low, chance),
        high=np.maximum(high, chance),
        limits=limit_quantiles(pooled.posterior),
        information=expected_information(pooled.posterior),
        ruling=rule(rows, chance, low, high),
    )


def assess_fast(arrays: EvidenceArrays, priors: Priors = DEFAULT_PRIORS) -> Standings:
    """As assess_arrays, for a large catalogue: in single precision, which moves no chance by 1e-5, lenses a
    handful at a time so that the tables stay in the processor's cache, on two threads. Keeps no pool."""
    rows = compile_rows(arrays)
    avs, count = rows.cells.avs, rows.cells.count
    chance, low, high = (np.empty((count, len(avs)), dtype=np.float32) for _ in range(3))
    limits, information = np.empty((count, 3)), np.empty(count)

    def assess(first: int, last: int) -> None:
        mine = slice(first, last)
        posterior = pool(rows.part(first, last), priors, "float32").posterior
        chance[mine] = chances(posterior, avs)
        low[mine], high[mine] = chance_bands(posterior, avs)
        limits[mine] = limit_quantiles(posterior)
        information[mine] = expected_information(posterior)

    bounds = _whole_lenses(rows.cells.lens, CELLS_AT_A_TIME)
    with ThreadPoolExecutor(THREADS) as threads:
        list(threads.map(assess, bounds[:-1], bounds[1:]))
    low, high = np.minimum(low, chance), np.maximum(high, chance)
    return Standings(rows, None, chance, low, high, limits, information, rule(rows, chance, low, high))


def _whole_lenses(lens: np.ndarray, size: int) -> list[int]:
    """Bounds of runs of cells, some size long, that never cut a lens in two."""
    starts = run_starts(lens)
    chosen = np.unique(np.searchsorted(starts, np.arange(0, len(lens), size)))
    return [*starts[chosen[chosen < len(starts)]].tolist(), len(lens)]


def assess_lens(
    lens: Lens,
    reports: Sequence[Report],
    priors: Priors = DEFAULT_PRIORS,
    *,
    visible_ev: float = VISIBLE_EV,
    asked: Sequence[tuple[str, str]] = (),
) -> LensAssessment:
    """Assess one lens from checked reports (see evidence.check_report).

    visible_ev: the reader's threshold, EV. asked: (band, zone) cells wanted in any event; one without
    evidence is assessed from the priors and the lens's other cells, with the verdict "no-reports".
    """
    arrays = arrays_of([(lens, reports)], visible_ev, [(0, *cell) for cell in asked])
    moved = priors.at(visible_ev)
    standings = assess_arrays(arrays, moved)
    causes = explain_rows(reports, arrays, standings.rows, moved).causes()
    return _lens_assessments(standings, [(lens, reports)], [causes])[0]


def assess_catalogue(
    cases: Sequence[tuple[Lens, Sequence[Report]]],
    priors: Priors = DEFAULT_PRIORS,
    visible_ev: float = VISIBLE_EV,
    *,
    with_causes: bool = True,
) -> list[LensAssessment]:
    """Assess every (lens, reports) pair in one pass; digits equal assess_lens's to rounding. with_causes: whether
    it is asked too what may explain that a lens's reports differ, which is most of the work."""
    moved = priors.at(visible_ev)
    standings = assess_arrays(arrays_of(cases, visible_ev), moved)
    causes = [
        explain(lens, reports, moved, visible_ev).causes() if with_causes else () for lens, reports in cases
    ]
    return _lens_assessments(standings, cases, causes)


def _lens_assessments(standings: Standings, cases, causes) -> list[LensAssessment]:
    ids = [report.id for _, reports in cases for report in reports]
    suspects = _suspects(standings, ids)
    cells: list[list[CellAssessment]] = [[] for _ in cases]
    for index, lens in enumerate(standings.rows.cells.lens.tolist()):
        cells[lens].append(cell_assessment(standings, index, tuple(suspects.get(index, ()))))
    return [
        LensAssessment(lens, tuple(mine), why)
        for (lens, _), mine, why in zip(cases, cells, causes, strict=True)
    ]


def _suspects(standings: Standings, ids: list[str]) -> dict[int, list[Suspect]]:
    rows = standings.rows
    found: dict[int, list[Suspect]] = {}
    for row, p in zip(*suspect_rows(rows, standings.pooled), strict=True):
        reports = rows.cells.entry_report[rows.entry_row == row]
        suspect = Suspect(tuple(sorted(ids[report] for report in reports)), float(p))
        found.setdefault(int(rows.row_cell[row]), []).append(suspect)
    return {cell: sorted(mine, key=lambda s: (s.p, s.report_ids)) for cell, mine in found.items()}


def cell_assessment(standings: Standings, index: int, suspects: tuple[Suspect, ...] = ()) -> CellAssessment:
    """One cell of assessed arrays as an object."""
    rows, ruling = standings.rows, standings.ruling
    cells = rows.cells
    confidence = int(ruling.confidence[index])
    return CellAssessment(
        band=cells.band[index],
        focal_zone=cells.zone[index],
        n_reports=int(rows.n_reports[index]),
        n_independent=int(rows.n_clusters[index] + rows.n_mixed[index]),
        stops=_stops(standings, index),
        limit_av=_limit(standings, index),
        spread=_median_spread(standings.pooled.posterior[index]),
        verdict=_verdict(standings, index),
        confidence=CONFIDENCES[confidence] if confidence >= 0 else None,
        suspects=suspects,
        expected_information=float(standings.information[index]),
        n_mixed=int(rows.n_mixed_reports[index]),
        n_nothing_found=int(rows.n_nothing[index]),
    )


def _stops(standings: Standings, index: int) -> tuple[StopChance, ...]:
    cells = standings.rows.cells
    ladder, tested = cells.ladder[index], cells.tested[index]
    return tuple(
        StopChance(
            marked(float(cells.avs[column])),
            float(standings.chance[index, column]),
            float(standings.low[index, column]),
            float(standings.high[index, column]),
            bool(tested[column]),
            bool(ladder[column]),
        )
        for column in np.flatnonzero(ladder | tested)
    )


def _limit(standings: Standings, index: int) -> Limit:
    low, median, high = (float(av) for av in standings.limits[index])
    tested = standings.rows.cells.avs[standings.rows.cells.tested[index]]
    open_low = not len(tested) or low < tested[0]
    open_high = not len(tested) or high > tested[-1]
    return Limit(low, median, high, bool(open_low), bool(open_high))


def _median_spread(posterior: np.ndarray) -> float:
    weights = posterior.reshape(len(SPREADS), -1).sum(axis=1)
    return SPREADS[int(np.searchsorted(np.cumsum(weights), 0.5 * weights.sum()))]


def _verdict(standings: Standings, index: int) -> Verdict:
    ruling, avs = standings.ruling, standings.rows.cells.avs

    def stated(code: int, column: int) -> Verdict:
        with_stop = CODES[code] in ("clean-to", "clean-as-far-as-tested", "hot-from") and column >= 0
        return Verdict(CODES[code], marked(float(avs[column])) if with_stop else None)

    code = int(ruling.code[index])
    if CODES[code] == "one-report":
        return Verdict("one-report", says=stated(int(ruling.says[index]), int(ruling.says_column[index])))
    return stated(code, int(ruling.column[index]))


@lru_cache(maxsize=1024)
def marked(av: float) -> float:
    """The f-number as marked of an Av: a mark's figure, or two decimals for a lens's own value."""
    nearest = nearest_marks(f_number_of(av), 1)[0]
    return float(nearest.mark) if abs(float(nearest.av) - av) < 1e-4 else round(f_number_of(av), 2)
