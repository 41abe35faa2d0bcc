"""What may explain that a lens's reports differ: each candidate split weighed against none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from registry.consensus.arrays import EvidenceArrays, arrays_of
from registry.consensus.beliefs import Priors
from registry.consensus.clusters import cluster_labels
from registry.consensus.constants import (
    CAUSE_LIKELY,
    CAUSE_ODDS,
    CAUSE_SHIFT_SPREAD,
    CAUSE_SHIFTS,
    CELL_SPREAD_AV,
    GRID_STEP_AV,
    NO_CAUSE,
    STRAY_SHARE,
    VISIBLE_EV,
)
from registry.consensus.contrasts import Contrast, contrasts_of
from registry.consensus.evidence import Lens, Report
from registry.consensus.grid import (
    GRID_POINTS,
    SPREAD_COUNT,
    kernel,
    shared_kernels,
    single_kernels,
    within_kernels,
)
from registry.consensus.pooling import TINY, band_offset
from registry.consensus.rows import Rows, compile_rows
from registry.consensus.verdicts import camps

SHIFTS = np.array([-shift for shift in reversed(CAUSE_SHIFTS)] + list(CAUSE_SHIFTS))
_SHIFT_WEIGHTS = np.exp(-0.5 * (SHIFTS / CAUSE_SHIFT_SPREAD) ** 2)
SHIFT_LOGS = np.log(_SHIFT_WEIGHTS / _SHIFT_WEIGHTS.sum())


@dataclass(frozen=True, slots=True)
class Cause:
    """One candidate explanation.

    factor: "cut_on", "filter_position", "focal", "body", "copy" or "method". posterior: probability that it
    splits the reports; odds: against nothing doing so. effect_stops: how much later (positive) or earlier
    the limit comes in group_a than in group_b.
    """

    factor: str
    posterior: float
    odds: float
    effect_stops: float
    group_a: str
    group_b: str

    @property
    def likely(self) -> bool:
        """Whether the evidence suffices to name it."""
        return self.posterior >= CAUSE_LIKELY


@dataclass(frozen=True)
class Explained:
    """One contrast's share of the posterior (weight) and, given it, the joint probabilities of shift, spread
    and limit at weight 0 of the contrast, shape (shifts, spreads, G)."""

    contrast: Contrast
    weight: float
    joint: np.ndarray


@dataclass(frozen=True)
class Explanations:
    """All contrasts that were tried, and the posterior weight of none of them."""

    tried: tuple[Explained, ...]
    none: float

    def causes(self) -> tuple[Cause, ...]:
        """One cause per factor, the likeliest first; its effect and groups are its best contrast's."""
        by_factor: dict[str, list[Explained]] = {}
        for explained in self.tried:
            by_factor.setdefault(explained.contrast.factor, []).append(explained)
        causes = [self._cause(factor, mine) for factor, mine in by_factor.items()]
        return tuple(sorted(causes, key=lambda cause: (-cause.posterior, cause.factor)))

    def _cause(self, factor: str, mine: list[Explained]) -> Cause:
        best = max(mine, key=lambda explained: explained.weight)
        posterior = sum(explained.weight for explained in mine)
        effect = float(best.joint.sum(axis=(1, 2)) @ SHIFTS)
        odds = posterior / max(self.none, TINY)
        return Cause(factor, posterior, odds, effect, best.contrast.group_a, best.contrast.group_b)


def explain(
    lens: Lens, reports: Sequence[Report], priors: Priors, visible_ev: float = VISIBLE_EV
) -> Explanations:
    """Weigh every contrast. Without reports that contradict each other there is nothing to explain."""
    arrays = arrays_of([(lens, reports)], visible_ev)
    rows = compile_rows(arrays)
    if not _contradictory(rows):
        return Explanations((), 1.0)
    told = np.flatnonzero(rows.report_pattern >= 0)
    telling = [reports[index] for index in told]
    clusters = rows.report_cluster[told]
    contributors = _contributors(arrays)[told]
    evidence = _Evidence(rows, told, telling, priors)
    tried = contrasts_of(telling, clusters) + _copy_contrasts(telling, clusters, contributors)
    return _weighed(tried, evidence, clusters, contributors)


def causes_of(
    lens: Lens, reports: Sequence[Report], priors: Priors, visible_ev: float = VISIBLE_EV
) -> tuple[Cause, ...]:
    """Candidate explanations, ranked; empty where the reports don't contradict each other."""
    return explain(lens, reports, priors, visible_ev).causes()


def _contradictory(rows: Rows) -> bool:
    if len(rows.row_cell) < 2:
        return False
    patterns = Rows(**{**rows.__dict__, **_each_alone(len(rows.patterns))})
    clean, hot = camps(patterns)
    return bool(clean.max() >= hot.min() - GRID_STEP_AV / 2)


def _each_alone(count: int) -> dict[str, np.ndarray]:
    return {"members": np.arange(count), "member_start": np.arange(count + 1)}


def _contributors(arrays: EvidenceArrays) -> np.ndarray:
    """Clusters that leave copies out: for the question whether a copy is what differs."""
    return cluster_labels(arrays.report_lens, arrays.report_tester, arrays.report_source, arrays.report_echo)


def _copy_contrasts(telling, clusters, contributors) -> list[Contrast]:
    known = {contrast.level for contrast in contrasts_of(telling, clusters) if contrast.factor == "copy"}
    return [
        contrast
        for contrast in contrasts_of(telling, contributors)
        if contrast.factor == "copy" and contrast.level not in known
    ]


def _weighed(tried: list[Contrast], evidence: _Evidence, clusters, contributors) -> Explanations:
    per_factor: dict[str, int] = {}
    for contrast in tried:
        per_factor[contrast.factor] = per_factor.get(contrast.factor, 0) + 1
    none = {"cluster": evidence.total(clusters), "contributor": evidence.total(contributors)}
    logs, joints = [np.log(NO_CAUSE)], []
    for contrast in tried:
        by_copy = contrast.factor == "copy"
        joint = evidence.joint(contributors if by_copy else clusters, contrast.weights)
        share = CAUSE_ODDS[contrast.factor] / per_factor[contrast.factor]
        against = none["contributor" if by_copy else "cluster"]
        logs.append(np.log(share) + logsumexp(joint) - against)
        joints.append(joint)
    posterior = np.exp(np.array(logs) - logsumexp(logs))
    explained = [
        Explained(contrast, float(weight), np.exp(joint - logsumexp(joint)))
        for contrast, weight, joint in zip(tried, posterior[1:], joints, strict=True)
    ]
    return Explanations(tuple(explained), float(posterior[0]))


class _Evidence:
    """Likelihoods of one lens's reports, ready to be shifted and pooled over the whole lens."""

    def __init__(self, rows: Rows, told: np.ndarray, telling: Sequence[Report], priors: Priors):
        self.pattern = rows.report_pattern[told]
        likelihood = np.exp(rows.patterns - rows.patterns.max(axis=1, keepdims=True))
        shape = (-1, SPREAD_COUNT, GRID_POINTS)
        self.single = (likelihood @ single_kernels("float64")).reshape(shape)
        self.within = np.log(likelihood @ within_kernels("float64") + TINY).reshape(shape)
        self.limits = np.array(priors.limits)
        cell = {int(r): int(c) for r, c in zip(rows.cells.entry_report, rows.cells.entry_cell, strict=True)}
        self.offset = np.array([band_offset(priors, rows.cells.band[cell[int(r)]]) for r in told])
        lens_limits = self.limits @ kernel(CELL_SPREAD_AV)
        self.base = np.log(np.outer(priors.spreads, lens_limits) + TINY)

    def total(self, clusters: np.ndarray) -> float:
        """log evidence of no cause."""
        pooled = self._pooled(clusters, self.offset[:, None])
        return float(logsumexp(self.base + pooled[0]))

    def joint(self, clusters: np.ndarray, weights: np.ndarray) -> np.ndarray:
        """log joint of (shift, spread, limit), shape (shifts, spreads, G)."""
        moves = self.offset[:, None] + weights[:, None] * SHIFTS
        return SHIFT_LOGS[:, None, None] + self.base + self._pooled(clusters, moves)

    def _pooled(self, clusters: np.ndarray, moves: np.ndarray) -> np.ndarray:
        """Σ over clusters of log L(μ; s), every report moved by its own amount (stops); moves (reports, K)."""
        steps = np.round(moves / GRID_STEP_AV).astype(np.intp)
        units = _units(clusters, steps, self.pattern)
        logs = np.zeros((steps.shape[1], SPREAD_COUNT, GRID_POINTS))
        alone = [cluster for cluster in units if len(cluster) == 1 and len(cluster[0][1]) == 1]
        if alone:
            table = np.log(self._robust(self.single[[cluster[0][1][0] for cluster in alone]]))
            moved = np.stack([cluster[0][0] for cluster in alone])
            logs += _shifted(table, moved).sum(axis=1)
        for cluster in units:
            if len(cluster) > 1 or len(cluster[0][1]) > 1:
                logs += self._several(cluster)
        return logs

    def _several(self, cluster) -> np.ndarray:
        """Of a cluster in several settings: repeats of a setting averaged, settings multiplied, then the
        part of the spread that its reports share."""
        means = np.stack([self.within[list(patterns)].mean(axis=0) for _, patterns in cluster])
        moved = np.stack([move for move, _ in cluster])
        joint = _shifted(means, moved).sum(axis=1)
        top = joint.max(axis=(1, 2), keepdims=True)
        blurred = np.matmul(np.exp(joint - top)[:, :, None, :], shared_kernels("float64"))[:, :, 0, :]
        return np.log(self._robust(blurred)) + top

    def _robust(self, cube: np.ndarray) -> np.ndarray:
        return (1 - STRAY_SHARE) * cube + STRAY_SHARE * (cube @ self.limits)[..., None] + TINY


def _units(clusters: np.ndarray, steps: np.ndarray, pattern: np.ndarray):
    """Per cluster, in an order of content: its settings as (moves, distinct patterns)."""
    grouped: dict[int, dict[tuple, set]] = {}
    for cluster, move, mine in zip(
        clusters.tolist(), map(tuple, steps.tolist()), pattern.tolist(), strict=True
    ):
        grouped.setdefault(cluster, {}).setdefault(move, set()).add(mine)
    built = [
        sorted((move, tuple(sorted(mine))) for move, mine in settings.items())
        for settings in grouped.values()
    ]
    return sorted(built)


def _shifted(table: np.ndarray, moved: np.ndarray) -> np.ndarray:
    """table (n, spreads, G) read at limits moved by (n, K) grid steps, shape (K, n, spreads, G)."""
    index = np.clip(np.arange(GRID_POINTS) + moved.T[:, :, None], 0, GRID_POINTS - 1)
    return np.take_along_axis(table[None], index[:, :, None, :], axis=3)
