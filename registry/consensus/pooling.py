"""From rows to beliefs: cluster likelihoods, cells within a lens by exact message passing, posteriors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from registry.consensus.beliefs import Priors
from registry.consensus.cells import UNSTATED
from registry.consensus.constants import SHARED_ACROSS_CELLS, STRAY_SHARE, UNSTEADY_FROM, UNSTEADY_SHARE
from registry.consensus.grid import (
    GRID,
    GRID_POINTS,
    NEGLIGIBLE,
    SPREAD_COUNT,
    cell_kernel,
    kernel,
    shared_kernels,
    single_kernels,
    within_kernels,
)
from registry.consensus.rows import Rows, ranges, run_starts

TINY = 1e-30
WIDTH = SPREAD_COUNT * GRID_POINTS


def row_likelihoods(rows: Rows, priors: Priors, dtype: str = "float64") -> np.ndarray:
    """log L(μ; s) of every unique row, shape (unique rows, spreads × G).

    One report: its h blurred by the spread. Several different reports of one cluster: their h blurred by what they
    don't share, together (see one_voice), blurred by what they share; so twenty copies count as one, twenty tests by
    one person for less than one and a half, and contradicting floods cancel instead of adding up. Then mixed with
    the chance that the cluster describes something else, and with the chance that it belongs to another cell of the
    lens.
    """
    likelihoods = scaled_likelihoods(rows.patterns).astype(dtype)
    size = np.diff(rows.member_start)
    blurred = np.empty((len(size), WIDTH), dtype=dtype)
    single = np.flatnonzero(size == 1)
    blurred[single] = likelihoods[rows.members[rows.member_start[single]]] @ single_kernels(dtype)
    several = np.flatnonzero(size > 1)
    if len(several):
        blurred[several] = _voices_of(likelihoods, rows, several, dtype)
    return np.log(_robust(blurred, rows.shares, priors, dtype))


def scaled_likelihoods(patterns: np.ndarray) -> np.ndarray:
    """h(y) of log likelihoods (n, G), each against its best."""
    likelihoods = np.exp(patterns - patterns.max(axis=1, keepdims=True))
    likelihoods[likelihoods < NEGLIGIBLE] = 0.0
    return likelihoods


def _voices_of(likelihoods: np.ndarray, rows: Rows, several: np.ndarray, dtype: str) -> np.ndarray:
    used, place = np.unique(rows.members, return_inverse=True)
    logs = np.log(likelihoods[used] @ within_kernels(dtype) + TINY)
    starts, size = rows.member_start[several], np.diff(rows.member_start)[several]
    flat = place[ranges(starts, size)]
    total = np.add.reduceat(logs[flat], np.cumsum(size) - size, axis=0)
    voices = one_voice(
        total.reshape(len(several), SPREAD_COUNT, GRID_POINTS), size[:, None, None].astype(dtype)
    )
    voices = np.exp(voices - voices.max(axis=(1, 2), keepdims=True)).astype(dtype)
    shared = np.matmul(voices.transpose(1, 0, 2), shared_kernels(dtype))
    return shared.transpose(1, 0, 2).reshape(len(several), WIDTH)


def one_voice(total: np.ndarray, size) -> np.ndarray:
    """log likelihood (…, spreads, G) of what so many (size) different reports of one cluster say together, from the
    sum of theirs: their product where they agree; their geometric mean, which then tells nothing of the spread
    between tests, where the cluster contradicts itself."""
    mean = total / size
    mean = mean - mean.max(axis=-1, keepdims=True)
    return np.logaddexp(total, mean + (np.minimum(size, UNSTEADY_FROM) - 1) * np.log(UNSTEADY_SHARE))


def _robust(blurred: np.ndarray, shares: np.ndarray, priors: Priors, dtype: str) -> np.ndarray:
    cube = blurred.reshape(-1, SPREAD_COUNT, GRID_POINTS)
    elsewhere = cube @ np.asarray(priors.limits, dtype=dtype)
    cube = (1 - STRAY_SHARE) * cube + STRAY_SHARE * elsewhere[:, :, None]
    vague = np.flatnonzero(shares < 1)
    if len(vague):
        share = shares[vague, None, None].astype(dtype)
        neighbour = cube[vague] @ kernel(priors.cell_spread * 2**0.5).T.astype(dtype)
        cube[vague] = share * cube[vague] + (1 - share) * neighbour
    return cube.reshape(-1, WIDTH) + TINY


@dataclass(frozen=True)
class Pool:
    """Beliefs about the cells of a catalogue.

    row_logs: log likelihoods of unique rows; cell_logs: their sums per cell; prior_logs: what a cell's prior
    and the lens's other cells say, spread weights included; posterior: of (spread, limit), all
    (…, spreads × G).
    """

    row_logs: np.ndarray
    cell_logs: np.ndarray
    prior_logs: np.ndarray
    posterior: np.ndarray


def pool(rows: Rows, priors: Priors, dtype: str = "float64") -> Pool:
    """Posterior of every cell of compiled rows."""
    row_logs = row_likelihoods(rows, priors, dtype)
    cell_logs = _sums(rows.row_cell, rows.row_unique, None, rows.cells.count, row_logs)
    prior_logs = _cell_priors(rows, priors, row_logs, dtype)
    return Pool(row_logs, cell_logs, prior_logs, normalised(cell_logs + prior_logs))


def normalised(logs: np.ndarray) -> np.ndarray:
    """Probabilities proportional to exp(logs) along the last axis."""
    weights = np.exp(logs - logs.max(axis=-1, keepdims=True))
    weights /= weights.sum(axis=-1, keepdims=True)
    return weights


def _sums(target: np.ndarray, source: np.ndarray, weight, count: int, table: np.ndarray) -> np.ndarray:
    """Σ weight × table[source] for every target, in the order given, shape (count, width); target: sorted."""
    if not len(target):
        return np.zeros((count, WIDTH), dtype=table.dtype)
    if count == 1:  # one lens tested one way, the usual case alone
        chosen = table[source] if weight is None else table[source] * weight[:, None].astype(table.dtype)
        return chosen.sum(axis=0, keepdims=True)
    weight = np.ones(len(target), dtype=table.dtype) if weight is None else weight.astype(table.dtype)
    start = np.searchsorted(target, np.arange(count + 1))
    return csr_array((weight, source, start), shape=(count, len(table))) @ table


def _cell_priors(rows: Rows, priors: Priors, row_logs: np.ndarray, dtype: str) -> np.ndarray:
    cells = rows.cells
    lens_logs = np.log(np.outer(priors.spreads, priors.limits) + TINY).ravel().astype(dtype)
    target, source = _cell_pairs(cells.lens)
    if not len(target):
        return _down(np.tile(lens_logs, (cells.count, 1)), cells.band, priors, dtype)
    pairs, messages = _pair_messages(rows, priors, row_logs, target, source, dtype)
    order = np.argsort(target[pairs[0]], kind="stable")
    beliefs = _sums(target[pairs[0]][order], pairs[1][order], None, cells.count, messages) + lens_logs
    return _down(beliefs, cells.band, priors, dtype)


def _pair_messages(rows: Rows, priors: Priors, row_logs, target, source, dtype: str):
    """Messages of pairs of cells, each different one once: ((pair, message of the pair), messages).

    Most pairs share no cluster, so that the source tells every such target the same; or all of them, so
    that it tells nothing.
    """
    first = np.searchsorted(rows.row_cell, source, side="left")
    size = np.searchsorted(rows.row_cell, source, side="right") - first
    pair, row = np.repeat(np.arange(len(source)), size), ranges(first, size)
    width = int(rows.row_cluster.max(initial=0)) + 1
    spoken = np.isin(target[pair] * width + rows.row_cluster[row], rows.row_cell * width + rows.row_cluster)
    silent = np.bincount(pair[spoken], minlength=len(source))
    whole = np.flatnonzero((silent == 0) & (size > 0))
    partly = np.flatnonzero((silent > 0) & (silent < size))
    sources, place = np.unique(source[whole], return_inverse=True)
    messages = _messages(
        rows,
        priors,
        row_logs,
        np.concatenate([np.full(len(sources), -1), target[partly]]),
        np.concatenate([sources, source[partly]]),
        dtype,
    )
    number = np.concatenate([place, len(sources) + np.arange(len(partly))])
    return (np.concatenate([whole, partly]), number), messages


def _cell_pairs(lens: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ordered pairs (target, source) of different cells of one lens, sorted by target."""
    first = np.searchsorted(lens, lens, side="left")
    size = np.searchsorted(lens, lens, side="right") - first
    target = np.repeat(np.arange(len(lens)), size)
    source = ranges(first, size)
    other = target != source
    return target[other], source[other]


def _messages(
    rows: Rows, priors: Priors, row_logs, target, source, dtype: str, strangers: bool = False
) -> np.ndarray:
    """log of what the source cells say of the lens's own limit, shape (pairs, spreads × G).

    target: cell the message is meant for, or −1 for the lens itself. A cluster that has evidence in the
    target cell is left out: it has already spoken there. One in k other cells weighs less in each. strangers:
    leave out whoever has evidence in several cells.
    """
    first = np.searchsorted(rows.row_cell, source, side="left")
    size = np.searchsorted(rows.row_cell, source, side="right") - first
    pair = np.repeat(np.arange(len(source)), size)
    row = ranges(first, size)
    voices = np.bincount(rows.row_cluster, minlength=1)[rows.row_cluster[row]]
    weight = 1.0 / (1.0 + (voices - 1) * SHARED_ACROSS_CELLS)
    width = int(rows.row_cluster.max(initial=0)) + 1
    spoken = np.isin(target[pair] * width + rows.row_cluster[row], rows.row_cell * width + rows.row_cluster)
    kept = ~spoken & ((voices == 1) | (not strangers))
    logs = _sums(pair[kept], rows.row_unique[row[kept]], weight[kept], len(source), row_logs)
    top = logs.max(axis=1, keepdims=True)
    likelihood = np.exp(logs - top).reshape(-1, SPREAD_COUNT, GRID_POINTS)
    return np.log(_by_band(likelihood, source, rows.cells.band, priors, dtype, up=True) + TINY) + top


def _down(beliefs: np.ndarray, bands: list[str], priors: Priors, dtype: str) -> np.ndarray:
    """log prior of the cells' limits from what is believed of the lens's own."""
    top = beliefs.max(axis=1, keepdims=True)
    cube = np.exp(beliefs - top).reshape(-1, SPREAD_COUNT, GRID_POINTS)
    return np.log(_by_band(cube, np.arange(len(bands)), bands, priors, dtype, up=False) + TINY) + top


def _by_band(cube, cells: np.ndarray, bands: list[str], priors: Priors, dtype: str, up: bool) -> np.ndarray:
    """Blur between the lens's limit and its cells', each band with its offset."""
    offsets = np.array([band_offset(priors, band) for band in bands])[cells]
    if len(offsets) and np.all(offsets == offsets[0]):
        matrix = cell_kernel(priors.cell_spread, float(offsets[0])).astype(dtype)
        return (cube.reshape(-1, GRID_POINTS) @ (matrix.T if up else matrix)).reshape(-1, WIDTH)
    out = np.empty_like(cube)
    for offset in np.unique(offsets):
        mine = offsets == offset
        matrix = cell_kernel(priors.cell_spread, float(offset)).astype(dtype)
        out[mine] = cube[mine] @ (matrix.T if up else matrix)
    return out.reshape(-1, WIDTH)


def band_offset(priors: Priors, band: str) -> float:
    """Offset of a band's limits against the lens's own, in stops."""
    return 0.0 if band == UNSTATED else priors.offsets.get(band, 0.0)


@dataclass(frozen=True)
class LensBeliefs:
    """What a catalogue's lenses with evidence teach.

    likelihood: of spread and lens's own limit, each lens's against its best, (lenses, spreads, G); weight: how
    much each lens counts, (lenses,); several: whether several clusters speak of it, (lenses,); band_moves: per
    band, the sum of its cells' moves against their lens, and how many cells; evidence: log likelihood of the
    catalogue, up to a constant that no prior changes.
    """

    likelihood: np.ndarray
    weight: np.ndarray
    several: np.ndarray
    band_moves: dict[str, tuple[float, float]]
    evidence: float

    @property
    def count(self) -> int:
        return len(self.likelihood)


def lens_beliefs(
    rows: Rows, priors: Priors, weights: np.ndarray | None = None, *, strangers: bool = False
) -> LensBeliefs:
    """Weigh a catalogue's lenses to learn the priors. weights: how much each lens counts, (lenses,). strangers:
    hear of each lens only who has evidence in one of its cells."""
    dtype = "float64"
    pooled = pool(rows, priors, dtype)
    told = np.flatnonzero(rows.n_clusters > 0)
    lens = rows.cells.lens[told]
    messages = _messages(rows, priors, pooled.row_logs, np.full(len(told), -1), told, dtype, strangers)
    start = run_starts(lens)
    if not len(start):
        nothing = np.empty(0)
        return LensBeliefs(np.empty((0, SPREAD_COUNT, GRID_POINTS)), nothing, nothing > 0, {}, 0.0)
    logs = np.add.reduceat(messages, start, axis=0)
    top = logs.max(axis=1)
    likelihood = np.exp(logs - top[:, None])
    joint = likelihood * np.outer(priors.spreads, priors.limits).ravel()
    total = joint.sum(axis=1)
    weight = np.ones(len(told)) if weights is None else weights[lens]
    lens_mean = joint.reshape(-1, SPREAD_COUNT, GRID_POINTS).sum(axis=1) @ GRID / total
    cell_mean = pooled.posterior[told].reshape(-1, SPREAD_COUNT, GRID_POINTS).sum(axis=1) @ GRID
    moved = cell_mean - np.repeat(lens_mean, np.diff(np.append(start, len(told))))
    moves = _band_moves([rows.cells.band[cell] for cell in told], weight * moved, weight)
    evidence = float((np.log(total + TINY) + top) @ weight[start])
    likelihood = likelihood.reshape(-1, SPREAD_COUNT, GRID_POINTS)
    return LensBeliefs(likelihood, weight[start], _voices(rows)[lens[start]] > 1, moves, evidence)


def _voices(rows: Rows) -> np.ndarray:
    """How many clusters speak of each lens, (lenses,)."""
    width = int(rows.row_cluster.max(initial=0)) + 1
    pairs = np.unique(rows.cells.lens[rows.row_cell] * width + rows.row_cluster)
    return np.bincount(pairs // width, minlength=int(rows.cells.lens.max(initial=-1)) + 1)


def _band_moves(bands: list[str], moves: np.ndarray, weights: np.ndarray) -> dict[str, tuple[float, float]]:
    names = np.array(bands)
    return {
        str(name): (float(moves[names == name].sum()), float(weights[names == name].sum()))
        for name in np.unique(names)
        if name != UNSTATED
    }
