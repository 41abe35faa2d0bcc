"""Cells of a catalogue, which report belongs to which, and which stops were tested there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from registry.consensus.arrays import EvidenceArrays
from registry.consensus.cells import BANDS, UNSTATED
from registry.consensus.constants import BAND_SHARES, GROUP_SHARE, LADDER_CLEARANCE_AV, SAME_STOP_AV
from registry.optics.stops import FULL_STOPS

_FULL_AVS = np.array([float(stop.av) for stop in FULL_STOPS])
_FULL_MICRO = np.round(_FULL_AVS * 1e6).astype(np.int64)


@dataclass(frozen=True)
class Cells:
    """Cells, sorted by lens, band and zone, with their reports and stops.

    lens: index of each cell's lens; band, zone: their keys. entry_report, entry_cell: report × cell it
    belongs or may belong to, with entry_share the chance that it does (1 where it says so).
    widest, narrowest: Av that a test must reach to speak of the widest and the narrowest stop there.
    avs: every Av that matters, ascending, shape (V,); ladder: which are the lens's own stops (widest, full
    stops, narrowest); tested: which were tested there; both (cells, V).
    """

    lens: np.ndarray
    band: list[str]
    zone: list[str]
    entry_report: np.ndarray
    entry_cell: np.ndarray
    entry_share: np.ndarray
    widest: np.ndarray
    narrowest: np.ndarray
    avs: np.ndarray
    ladder: np.ndarray
    tested: np.ndarray

    @property
    def count(self) -> int:
        return len(self.lens)

    def part(self, first: int, last: int) -> Cells:
        """The cells first … last − 1, with their entries left behind."""
        return replace(
            self, lens=self.lens[first:last], band=self.band[first:last], zone=self.zone[first:last]
        )


def cells_of(arrays: EvidenceArrays) -> Cells:
    """Cells that evidence or a question names, and the reports that belong or may belong to each."""
    band_names, band_rank = _ranked(arrays.bands, _band_order)
    zone_names, zone_rank = _ranked(arrays.zones, lambda name: (float(name.split("-")[0]), name))
    keys = np.column_stack(
        [arrays.report_lens, _take(band_rank, arrays.report_band), _take(zone_rank, arrays.report_zone)]
    )
    asked = arrays.asked.copy()
    if len(asked):
        asked[:, 1], asked[:, 2] = _take(band_rank, asked[:, 1]), _take(zone_rank, asked[:, 2])
    cells, entries = _spread_over_cells(keys, asked, band_names, arrays.lens_zones)
    widest = _widest(arrays, cells, zone_rank)
    avs, ladder, tested = _stops(arrays, cells[:, 0], widest[:, 0], entries)
    return Cells(
        lens=cells[:, 0],
        band=[band_names[code] if code >= 0 else UNSTATED for code in cells[:, 1]],
        zone=[zone_names[code] if code >= 0 else UNSTATED for code in cells[:, 2]],
        entry_report=entries[0],
        entry_cell=entries[1],
        entry_share=entries[2],
        widest=widest[:, 1],
        narrowest=arrays.lens_narrowest[cells[:, 0]],
        avs=avs,
        ladder=ladder,
        tested=tested,
    )


def _band_order(name: str) -> tuple[int, str]:
    return (BANDS.index(name) if name in BANDS else len(BANDS), name)


def _ranked(names, order) -> tuple[list[str], np.ndarray]:
    """Names in their own order, and the rank of each code; so cells sort alike whatever came first."""
    ranked = sorted(names, key=order)
    place = {name: rank for rank, name in enumerate(ranked)}
    return ranked, np.array([place[name] for name in names] or [0], dtype=np.intp)


def _take(rank: np.ndarray, codes: np.ndarray) -> np.ndarray:
    return np.where(codes < 0, -1, rank[codes])


def _spread_over_cells(keys, asked, band_names, lens_zones):
    """Cells (n, 3) and entries (report, cell, share).

    A report that states band and zone has its cell. One that leaves either open may belong to every cell
    that agrees with what it states; where there is none, it opens a cell that is itself unstated.
    """
    open_count = (keys[:, 1:] < 0).sum(axis=1)
    cells = _distinct(np.concatenate([keys[open_count == 0], asked]))
    for open_now in (1, 2) if open_count.any() else ():
        mine = keys[open_count == open_now]
        if len(mine):
            mine = _distinct(mine)
            lonely = mine[~_agreeing(mine, cells)[2]]
            cells = _distinct(np.concatenate([cells, lonely]))
    report, cell, _ = _agreeing(keys, cells)
    shares = np.ones(len(report))
    vague = np.flatnonzero(open_count[report] > 0) if open_count.any() else ()
    if len(vague):
        band_share = np.array([BAND_SHARES.get(name, GROUP_SHARE) for name in band_names] or [1.0])
        stated, home = keys[report[vague]], cells[cell[vague]]
        by_band = np.where((stated[:, 1] < 0) & (home[:, 1] >= 0), band_share[home[:, 1]], 1.0)
        by_zone = np.where((stated[:, 2] < 0) & (home[:, 2] >= 0), 1.0 / lens_zones[home[:, 0]], 1.0)
        shares[vague] = by_band * by_zone
    return cells, (report, cell, shares)


def _distinct(rows: np.ndarray) -> np.ndarray:
    """Distinct rows of (lens, band, zone) codes, sorted."""
    if len(rows) < 2 or (rows == rows[0]).all():
        return rows[:1]
    widths = rows.max(axis=0) + 2
    _, first = np.unique(
        (rows[:, 0] * widths[1] + rows[:, 1] + 1) * widths[2] + rows[:, 2] + 1, return_index=True
    )
    return rows[first]


def _agreeing(keys: np.ndarray, cells: np.ndarray):
    """Pairs (key, cell) of one lens that don't contradict each other, and which keys have any.

    A key that states both band and zone agrees with its own cell only.
    """
    if len(cells) == 1 and (keys == cells).all():  # one lens tested one way, the usual case alone
        key = np.arange(len(keys))
        return key, np.zeros_like(key), np.ones(len(keys), dtype=bool)
    first = np.searchsorted(cells[:, 0], keys[:, 0], side="left")
    size = np.searchsorted(cells[:, 0], keys[:, 0], side="right") - first
    key = np.repeat(np.arange(len(keys)), size)
    cell = np.arange(len(key)) - np.repeat(np.cumsum(size) - size - first, size)
    mine, theirs = keys[key, 1:], cells[cell, 1:]
    fits = ((mine == theirs) | (mine < 0) | ((theirs < 0) & (mine < 0).any(axis=1)[:, None])).all(axis=1)
    key, cell = key[fits], cell[fits]
    has = np.zeros(len(keys), dtype=bool)
    has[key] = True
    return key, cell, has


def _widest(arrays: EvidenceArrays, cells: np.ndarray, zone_rank: np.ndarray) -> np.ndarray:
    """Av where each cell's ladder starts, and where its widest stop is sure to be reached; shape (cells, 2).

    Between the ends of a zoom that gets slower, makers step its widest aperture as they like.
    """
    lens = cells[:, 0]
    wide, tele = arrays.lens_widest[lens], arrays.lens_tele[lens]
    first, last = (_take(zone_rank, arrays.lens_ends[lens, end]) for end in (0, 1))
    beyond_first, in_last = cells[:, 2] > first, (cells[:, 2] >= last) & (last > first)
    return np.column_stack([np.where(in_last, tele, wide), np.where(beyond_first, tele, wide)])


def _stops(arrays: EvidenceArrays, cell_lens: np.ndarray, low: np.ndarray, entries):
    """avs (V,), ladder and tested (cells, V). low: Av where each cell's ladder starts."""
    report, av = arrays.reading_report, arrays.reading_av
    if len(arrays.claimed_report):
        # What a claim amounts to on the grid is no stop that anyone tested; what it speaks of is.
        claims = np.zeros(len(arrays.report_lens), dtype=bool)
        claims[arrays.claimed_report] = True
        read = ~claims[report]
        report = np.concatenate([report[read], arrays.claimed_report])
        av = np.concatenate([av[read], arrays.claimed_av])
    high = arrays.lens_narrowest[cell_lens]
    micro = np.unique(np.round(np.concatenate([_FULL_AVS, low, high, np.unique(av)]) * 1e6).astype(np.int64))
    avs = micro / 1e6
    is_full = np.zeros(len(micro), dtype=bool)
    is_full[np.searchsorted(micro, _FULL_MICRO)] = True
    inner = is_full & (avs > low[:, None] + LADDER_CLEARANCE_AV) & (avs < high[:, None] - LADDER_CLEARANCE_AV)
    ends = (np.abs(avs - low[:, None]) < 1e-5) | (np.abs(avs - high[:, None]) < 1e-5)
    ladder = inner | ends

    column = np.searchsorted(micro, np.round(av * 1e6).astype(np.int64))
    by_report = np.zeros((len(arrays.report_lens), len(avs)), dtype=bool)
    by_report[report, column] = True
    tested = np.zeros((len(cell_lens), len(avs)), dtype=bool)
    np.logical_or.at(tested, entries[1], by_report[entries[0]])
    near = (np.abs(avs[:, None] - avs) < SAME_STOP_AV).astype(np.float32)
    ladder_tested = ladder & (tested.astype(np.float32) @ near > 0)
    beside = ladder.astype(np.float32) @ near > 0
    tested = ladder_tested | (tested & ~beside)
    used = ladder.any(axis=0) | tested.any(axis=0)
    return avs[used], ladder[:, used], tested[:, used]
