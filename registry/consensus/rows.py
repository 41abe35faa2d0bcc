"""Evidence compiled for the engine: unique sweeps, one row per cluster and cell, and the cells' stops.

Everything that is summed later is ordered here by content, so equal evidence gives equal digits whatever
order it came in; and equal rows are kept once, so a catalogue costs what its different sweeps cost.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from registry.consensus.arrays import EVIDENCE, MIXED, NOTHING, EvidenceArrays
from registry.consensus.clusters import clusters_of
from registry.consensus.constants import CAMP_LIKELIHOOD_RATIO
from registry.consensus.grid import EDGES, GRID_POINTS
from registry.consensus.likelihood import log_likelihoods
from registry.consensus.membership import Cells, cells_of


@dataclass(frozen=True)
class Rows:
    """What the engine works on.

    cells: the cells and which report may belong to which. patterns: log h(y) of unique sweeps, shape
    (patterns, G). members, member_start: patterns of unique rows, concatenated, with each row's start.
    shares: chance that a unique row belongs to its cell. row_cell, row_cluster, row_unique: one per cluster
    and cell, sorted by cell, then by content. report_cluster, report_pattern: per report; −1 for a report
    without a likelihood. entry_row: row of each of the cells' entries; −1 where the entry doesn't count.
    n_reports, n_mixed: reports with evidence, and clusters that say nothing but "mixed", per cell;
    n_mixed_reports, n_nothing: reports that say so.
    """

    cells: Cells
    patterns: np.ndarray
    members: np.ndarray
    member_start: np.ndarray
    shares: np.ndarray
    row_cell: np.ndarray
    row_cluster: np.ndarray
    row_unique: np.ndarray
    report_cluster: np.ndarray
    report_pattern: np.ndarray
    entry_row: np.ndarray
    n_reports: np.ndarray
    n_mixed: np.ndarray
    n_mixed_reports: np.ndarray
    n_nothing: np.ndarray

    @cached_property
    def camps(self) -> tuple[np.ndarray, np.ndarray]:
        """Per unique row: Av up to which it says clean (−inf: no stop), Av from which hot (inf: none).

        Between the two lie the limits whose likelihood is within CAMP_LIKELIHOOD_RATIO of its best.
        """
        size = np.diff(self.member_start)
        clean, hot = (ends[self.members[self.member_start[:-1]]] for ends in self.pattern_camps)
        several = np.flatnonzero(size > 1)
        if len(several):
            flat = self.members[ranges(self.member_start[several], size[several])]
            starts = np.cumsum(size[several]) - size[several]
            mean = np.add.reduceat(self.patterns[flat], starts, axis=0) / size[several, None]
            clean[several], hot[several] = camps_of(mean)
        return clean, hot

    @cached_property
    def pattern_camps(self) -> tuple[np.ndarray, np.ndarray]:
        """The same per pattern: what a report says on its own."""
        return camps_of(self.patterns)

    @cached_property
    def n_clusters(self) -> np.ndarray:
        """Independent pieces of evidence with a likelihood, per cell."""
        return np.bincount(self.row_cell, minlength=self.cells.count)

    def part(self, first: int, last: int) -> Rows:
        """What pooling needs of the cells first … last − 1; they must hold whole lenses."""
        row_from, row_to = np.searchsorted(self.row_cell, [first, last])
        unique, row_unique = np.unique(self.row_unique[row_from:row_to], return_inverse=True)
        size = np.diff(self.member_start)[unique]
        flat = self.members[ranges(self.member_start[unique], size)]
        patterns, members = np.unique(flat, return_inverse=True)
        return replace(
            self,
            cells=self.cells.part(first, last),
            patterns=self.patterns[patterns],
            members=members,
            member_start=np.append(0, np.cumsum(size)),
            shares=self.shares[unique],
            row_cell=self.row_cell[row_from:row_to] - first,
            row_cluster=self.row_cluster[row_from:row_to] - self.row_cluster[row_from:row_to].min(initial=0),
            row_unique=row_unique,
        )


def camps_of(logs: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(clean up to, hot from) of log likelihoods on the grid, (n, G); see Rows.camps."""
    if not len(logs):
        return np.empty(0), np.empty(0)
    near = logs >= logs.max(axis=1, keepdims=True) - np.log(CAMP_LIKELIHOOD_RATIO)
    first = np.argmax(near, axis=1)
    last = GRID_POINTS - 1 - np.argmax(near[:, ::-1], axis=1)
    clean = np.where(first > 0, EDGES[first], -np.inf)
    hot = np.where(last < GRID_POINTS - 1, EDGES[last + 1], np.inf)
    return clean, hot


def compile_rows(arrays: EvidenceArrays) -> Rows:
    """Compile columns."""
    clusters = clusters_of(arrays)
    report, av, odds = settle_readings(arrays)
    hashes = _sweep_hashes(report, av, odds, len(arrays.report_lens))
    telling = np.flatnonzero(arrays.report_kind == EVIDENCE)
    unique, first, inverse = np.unique(hashes[telling], return_index=True, return_inverse=True)
    report_pattern = np.full(len(arrays.report_lens), -1, dtype=np.intp)
    report_pattern[telling] = inverse
    patterns = _patterns(report, av, odds, telling[first], len(arrays.report_lens))
    cells = cells_of(arrays)
    return _rows(arrays, cells, clusters, report_pattern, unique, patterns)


def settle_readings(arrays: EvidenceArrays) -> tuple[np.ndarray, ...]:
    """(report, Av, log odds) with each report's stops once, sorted.

    Frames that repeat a stop of one sweep are one set-up's: their log odds are averaged, equal ones once.
    """
    odds = arrays.reading_odds + 0.0
    stop = np.round(arrays.reading_av * 1e6).astype(np.int64) + 10**7
    place = arrays.reading_report.astype(np.int64) * 10**8 + stop
    if len(place) < 2 or np.all(np.diff(place) > 0):
        return arrays.reading_report, arrays.reading_av + 0.0, odds
    order = np.lexsort((odds, place))
    place, odds = place[order], odds[order]
    fresh = np.append(True, (np.diff(place) != 0) | (np.diff(odds) != 0))
    place, odds, order = place[fresh], odds[fresh], order[fresh]
    start = run_starts(place)
    mean = np.add.reduceat(odds, start) / np.diff(np.append(start, len(odds)))
    kept = order[start]
    return arrays.reading_report[kept], arrays.reading_av[kept] + 0.0, mean


def _mixed_bits(values: np.ndarray) -> np.ndarray:
    """A well-mixed 64-bit number of each 64-bit number (the finaliser of SplitMix64, Steele et al. 2014)."""
    x = values + np.uint64(0x9E3779B97F4A7C15)
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return x ^ (x >> np.uint64(31))


def _sweep_hashes(report: np.ndarray, av: np.ndarray, odds: np.ndarray, count: int) -> np.ndarray:
    """A number of each report's content alone, whatever its place in the input; shape (count,), uint64."""
    hashes = np.zeros(count, dtype=np.uint64)
    if not len(report):
        return hashes
    content = _mixed_bits(np.round(av * 1e6).astype(np.int64).view(np.uint64))
    content = _mixed_bits(content ^ np.ascontiguousarray(odds).view(np.uint64))
    start = run_starts(report)
    hashes[report[start]] = np.add.reduceat(content, start)
    return hashes


def _patterns(report, av, odds, chosen: np.ndarray, count: int) -> np.ndarray:
    number = np.full(count, -1, dtype=np.intp)
    number[chosen] = np.arange(len(chosen))
    mine = number[report]
    kept = mine >= 0
    return log_likelihoods(mine[kept], av[kept], odds[kept], len(chosen))


def _rows(arrays, cells: Cells, clusters, report_pattern, pattern_hashes, patterns) -> Rows:
    entry_cluster = clusters[cells.entry_report]
    entry_pattern = report_pattern[cells.entry_report]
    kind = arrays.report_kind[cells.entry_report]
    width = int(clusters.max(initial=0)) + 1
    place = cells.entry_cell * width + entry_cluster
    counts = _counts(cells, kind, place, width)

    told = np.flatnonzero(kind == EVIDENCE)
    told = told[_best_stated(place[told], cells.entry_share[told])]
    order = told[np.lexsort((entry_pattern[told], place[told]))]
    fresh = np.ones(len(order), dtype=bool)
    fresh[1:] = (np.diff(place[order]) != 0) | (np.diff(entry_pattern[order]) != 0)
    kept = order[fresh]
    start = run_starts(place[kept])
    size = np.diff(np.append(start, len(kept)))
    share = np.maximum.reduceat(cells.entry_share[kept], start) if len(kept) else np.empty(0)
    row_hash = _row_hashes(pattern_hashes[entry_pattern[kept]], start, share)
    _, first, unique = np.unique(row_hash, return_index=True, return_inverse=True)

    row_place = place[kept][start]
    by_content = np.lexsort((unique, row_place // width))
    entry_row = np.full(len(place), -1, dtype=np.intp)
    if len(told):
        where = np.empty(len(by_content), dtype=np.intp)
        where[by_content] = np.arange(len(by_content))
        entry_row[told] = where[np.searchsorted(row_place, place[told])]
    member_start = np.append(0, np.cumsum(size[first])).astype(np.intp)
    members = entry_pattern[kept[ranges(start[first], size[first])]]
    return Rows(
        cells=cells,
        patterns=patterns,
        members=members,
        member_start=member_start,
        shares=share[first],
        row_cell=(row_place // width)[by_content],
        row_cluster=(row_place % width)[by_content],
        row_unique=unique[by_content],
        report_cluster=clusters,
        report_pattern=report_pattern,
        entry_row=entry_row,
        **counts,
    )


def run_starts(values: np.ndarray) -> np.ndarray:
    """Where each run of equal values begins."""
    fresh = np.ones(len(values), dtype=bool)
    np.not_equal(values[1:], values[:-1], out=fresh[1:])
    return np.flatnonzero(fresh)


def ranges(start: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Indices start … start + size − 1 of every pair, one after the other."""
    ends = np.cumsum(size)
    return np.arange(ends[-1] if len(ends) else 0) + np.repeat(start - (ends - size), size)


def _best_stated(place: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Which entries count: where a cluster has evidence that states this cell, what it leaves unstated
    elsewhere isn't also spread over it."""
    if not len(place) or share.min() == 1.0:
        return np.ones(len(place), dtype=bool)
    _, inverse = np.unique(place, return_inverse=True)
    stated = np.zeros(inverse.max() + 1, dtype=bool)
    stated[inverse[share == 1.0]] = True
    return (share == 1.0) | ~stated[inverse]


def _row_hashes(member_hashes: np.ndarray, start: np.ndarray, share: np.ndarray) -> np.ndarray:
    if not len(start):
        return np.empty(0, dtype=np.uint64)
    total = np.add.reduceat(_mixed_bits(member_hashes), start)
    return _mixed_bits(total ^ np.round(share * 1e9).astype(np.uint64))


def _counts(cells: Cells, kind: np.ndarray, place: np.ndarray, width: int) -> dict[str, np.ndarray]:
    per_kind = np.bincount(cells.entry_cell * 3 + kind, minlength=cells.count * 3).reshape(-1, 3)
    mixed = place[kind == MIXED]
    mixed_only = np.setdiff1d(mixed, place[kind == EVIDENCE]) if len(mixed) else mixed
    return {
        "n_reports": per_kind[:, EVIDENCE],
        "n_mixed": np.bincount(mixed_only // width, minlength=cells.count),
        "n_mixed_reports": per_kind[:, MIXED],
        "n_nothing": per_kind[:, NOTHING],
    }
