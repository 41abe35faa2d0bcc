"""What may explain that a lens's reports differ: each candidate split weighed against none."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from registry.consensus.arrays import EvidenceArrays, arrays_of
from registry.consensus.beliefs import SHIFTS, Priors
from registry.consensus.clusters import cluster_labels
from registry.consensus.constants import (
    CAUSE_LIKELY,
    GRID_STEP_AV,
    STRAY_SHARE,
    VISIBLE_EV,
)
from registry.consensus.contrasts import Contrast, contrasts_of, feared_contrasts
from registry.consensus.evidence import Lens, Report
from registry.consensus.grid import (
    GRID_POINTS,
    SPREAD_COUNT,
    kernel,
    shared_kernels,
    single_kernels,
    within_kernels,
)
from registry.consensus.pooling import TINY, band_offset, one_voice, scaled_likelihoods
from registry.consensus.rows import Rows, compile_rows

MOVES = np.append(0.0, SHIFTS)


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
    and limit at weight 0 of the contrast, shape (shifts, spreads, G). by_shift: log evidence of every shift
    against none, before any prior, (shifts,)."""

    contrast: Contrast
    weight: float
    joint: np.ndarray
    by_shift: np.ndarray


@dataclass(frozen=True)
class Explanations:
    """All contrasts that were tried, and the posterior weight of none of them."""

    tried: tuple[Explained, ...]
    none: float

    def causes(self) -> tuple[Cause, ...]:
        """One cause per factor that the reports can tell about, the likeliest first; its effect and groups are
        its best contrast's."""
        by_factor: dict[str, list[Explained]] = {}
        for explained in self.tried:
            if not explained.contrast.told:
                continue
            by_factor.setdefault(explained.contrast.factor, []).append(explained)
        causes = [self._cause(factor, mine) for factor, mine in by_factor.items()]
        return tuple(sorted(causes, key=lambda cause: (-cause.posterior, cause.factor)))

    def _cause(self, factor: str, mine: list[Explained]) -> Cause:
        best = max(mine, key=lambda explained: explained.weight)
        feared = sum(explained.weight for explained in self.tried if not explained.contrast.told)
        posterior = sum(explained.weight for explained in mine) / (1 - feared)
        effect = float(best.joint.sum(axis=(1, 2)) @ SHIFTS)
        odds = posterior / max(self.none, TINY)
        return Cause(factor, posterior, odds, effect, best.contrast.group_a, best.contrast.group_b)


def explain(
    lens: Lens, reports: Sequence[Report], priors: Priors, visible_ev: float = VISIBLE_EV
) -> Explanations:
    """Weigh every contrast. Without reports that contradict each other there is nothing to explain."""
    arrays = arrays_of([(lens, reports)], visible_ev)
    return explain_rows(reports, arrays, compile_rows(arrays), priors)


def explain_rows(
    reports: Sequence[Report], arrays: EvidenceArrays, rows: Rows, priors: Priors, question=None
) -> Explanations:
    """As explain, from the one lens's reports already compiled. question: conditions (see answers.Question)
    whose difference from the reports' is weighed too, where the reports can't tell whether it matters."""
    contradictory = _contradictory(rows)
    if not contradictory and question is None:
        return Explanations((), 1.0)
    told = np.flatnonzero(rows.report_pattern >= 0)
    telling = [reports[index] for index in told]
    clusters = rows.report_cluster[told]
    contributors = _contributors(arrays)[told]
    tried: list[Contrast] = []
    if contradictory:
        tried += [contrast for contrast in contrasts_of(telling, clusters) if contrast.factor != "copy"]
        tried += [contrast for contrast in contrasts_of(telling, contributors) if contrast.factor == "copy"]
    if question is not None:
        tried += feared_contrasts(telling, clusters, question, tried)
    if not tried:
        return Explanations((), 1.0)
    evidence = _Evidence(rows, told, priors)
    return _weighed(tried, evidence.clustered(clusters), evidence.clustered(contributors), priors)


def _contradictory(rows: Rows) -> bool:
    if len(rows.patterns) < 2:
        return False
    clean, hot = rows.pattern_camps
    return bool(clean.max() >= hot.min() - GRID_STEP_AV / 2)


def _contributors(arrays: EvidenceArrays) -> np.ndarray:
    """Clusters that leave copies out: for the question whether a copy is what differs."""
    return cluster_labels(arrays.report_lens, arrays.report_tester, arrays.report_source, arrays.report_echo)


def _weighed(
    tried: list[Contrast], clustered: _Clustered, by_contributor: _Clustered, priors: Priors
) -> Explanations:
    shares = contrast_shares(tried, priors)
    # Summed exactly: databases and files give the causes in orders of their own, and the last digit would tell.
    logs, joints, by_shift = [np.log(1 - math.fsum(priors.causes.values()))], [], []
    for contrast, share in zip(tried, shares, strict=True):
        reports = by_contributor if contrast.factor == "copy" else clustered
        unmoved, moved = reports.joint(contrast)
        by_shift.append(_log_sum(moved.reshape(len(SHIFTS), -1), axis=1) - unmoved)
        joint = moved + np.log(priors.effect_of(contrast.factor) + TINY)[:, None, None]
        logs.append(np.log(priors.causes[contrast.factor] * share) + _log_sum(joint) - unmoved)
        joints.append(joint)
    posterior = np.exp(np.array(logs) - _log_sum(logs))
    explained = [
        Explained(contrast, float(weight), np.exp(joint - _log_sum(joint)), evidence)
        for contrast, weight, joint, evidence in zip(tried, posterior[1:], joints, by_shift, strict=True)
    ]
    return Explanations(tuple(explained), float(posterior[0]))


def contrast_shares(tried: Sequence[Contrast], priors: Priors) -> np.ndarray:
    """Share of its factor's probability that each contrast has among those tried, (contrasts,)."""
    weights = np.array([priors.level_weight(contrast.factor, contrast.level) for contrast in tried])
    total: dict[str, float] = defaultdict(float)
    for contrast, weight in zip(tried, weights.tolist(), strict=True):
        total[contrast.factor] += weight
    return weights / np.array([total[contrast.factor] for contrast in tried])


class _Evidence:
    """Likelihoods of one lens's reports, ready to be moved and pooled over the whole lens."""

    def __init__(self, rows: Rows, told: np.ndarray, priors: Priors):
        self.pattern = rows.report_pattern[told]
        cell = np.full(len(rows.report_pattern), -1)
        cell[rows.cells.entry_report] = rows.cells.entry_cell
        offsets = [band_offset(priors, rows.cells.band[c]) for c in cell[told].tolist()]
        self.offset = np.round(np.array(offsets) / GRID_STEP_AV).astype(np.intp)
        likelihood = scaled_likelihoods(rows.patterns)
        shape = (-1, SPREAD_COUNT, GRID_POINTS)
        self.single = (likelihood @ single_kernels("float64")).reshape(shape)
        self.within = np.log(likelihood @ within_kernels("float64") + TINY).reshape(shape)
        self.limits = np.array(priors.limits)
        self.base = np.log(np.outer(priors.spreads, self.limits @ kernel(priors.cell_spread)) + TINY)

    def clustered(self, clusters: np.ndarray) -> _Clustered:
        """The reports by cluster, in an order of content."""
        members: dict[int, list[int]] = {}
        for report, cluster in enumerate(clusters.tolist()):
            members.setdefault(cluster, []).append(report)
        keys = list(zip(self.pattern.tolist(), self.offset.tolist(), strict=True))
        groups = sorted(members.values(), key=lambda mine: sorted(keys[report] for report in mine))
        return _Clustered(self, groups)

    def row(self, reports: list[int]) -> np.ndarray:
        """log L(μ; s) of a cluster whose reports all stand under one setting, (spreads, G)."""
        distinct = sorted({(int(self.pattern[r]), int(self.offset[r])) for r in reports})
        if len(distinct) == 1:
            pattern, offset = distinct[0]
            return _shifted(np.log(self.robust(self.single[pattern])), offset)
        voice = self.setting(reports)
        top = voice.max()
        return np.log(self.robust(_shared(np.exp(voice - top)))) + top

    def setting(self, reports: list[int]) -> np.ndarray:
        """What a setting's distinct reports say together, blurred by what they don't share, (spreads, G)."""
        distinct = sorted({(int(self.pattern[r]), int(self.offset[r])) for r in reports})
        total = sum(_shifted(self.within[pattern], offset) for pattern, offset in distinct)
        return total if len(distinct) == 1 else one_voice(total, len(distinct))

    def robust(self, cube: np.ndarray) -> np.ndarray:
        """Mixed with the chance that the cluster describes something else."""
        return (1 - STRAY_SHARE) * cube + STRAY_SHARE * (cube @ self.limits)[..., None] + TINY


class _Clustered:
    """One lens's reports under one idea of what a cluster is."""

    def __init__(self, evidence: _Evidence, groups: list[list[int]]):
        self.evidence, self.groups = evidence, groups
        self.rows = np.stack([evidence.row(reports) for reports in groups])

    def joint(self, contrast: Contrast) -> tuple[float, np.ndarray]:
        """log evidence without a shift, and log joint of spread and limit under every shift, (shifts, spreads, G).

        Both count a cluster's settings under this contrast alike, so that only the shift tells them apart.
        """
        logs = np.broadcast_to(self.evidence.base, (len(MOVES), SPREAD_COUNT, GRID_POINTS))
        by_weight: dict[float, np.ndarray] = {}
        for row, reports in zip(self.rows, self.groups, strict=True):
            weights = contrast.weights[reports]
            known = sorted(set(weights[~np.isnan(weights)].tolist()))
            if len(known) == 1:
                by_weight[known[0]] = by_weight[known[0]] + row if known[0] in by_weight else row
            elif known:
                logs = logs + self._several(reports, weights, known)
            else:
                logs = logs + _unknown(row, contrast.spread())
        for weight in sorted(by_weight):
            logs = logs + _moved(by_weight[weight], weight)
        return float(_log_sum(logs[0])), logs[1:]

    def _several(self, reports: list[int], weights: np.ndarray, known: list[float]) -> np.ndarray:
        """A cluster that stands on several sides is its own control: repeats of a setting are one voice,
        settings multiplied, then blurred by the part of the spread that its reports share."""
        joint = np.zeros((len(MOVES), SPREAD_COUNT, GRID_POINTS))
        for weight in known:
            mine = [report for report, own in zip(reports, weights, strict=True) if own == weight]
            joint += _moved(self.evidence.setting(mine), weight)
        top = joint.max(axis=(1, 2), keepdims=True)
        return np.log(self.evidence.robust(_shared(np.exp(joint - top)))) + top


def _unknown(row: np.ndarray, spread: list[tuple[float, float]]) -> np.ndarray:
    """A cluster that doesn't state the factor, averaged over where it may stand."""
    sides = [np.log(share) + _moved(row, weight) for weight, share in spread]
    return _log_sum(np.stack(sides), axis=0)


def _shared(cube: np.ndarray) -> np.ndarray:
    """Blur (…, spreads, G) by the part of the spread that a cluster's reports share."""
    return np.matmul(cube[..., None, :], shared_kernels("float64"))[..., 0, :]


def _moved(row: np.ndarray, weight: float) -> np.ndarray:
    """row (spreads, G) read at limits moved by weight × no shift and every shift, (1 + shifts, spreads, G)."""
    steps = np.round(weight * MOVES / GRID_STEP_AV).astype(np.intp)
    index = np.clip(np.arange(GRID_POINTS) + steps[:, None], 0, GRID_POINTS - 1)
    return row[:, index].transpose(1, 0, 2)


def _shifted(row: np.ndarray, step: int) -> np.ndarray:
    """row (spreads, G) read at limits moved by a number of grid steps."""
    return row[:, np.clip(np.arange(GRID_POINTS) + step, 0, GRID_POINTS - 1)] if step else row


def _log_sum(logs, axis: int | None = None):
    """log Σ exp along an axis; plain and fast, for arrays that hold no infinities."""
    logs = np.asarray(logs)
    top = logs.max(axis=axis, keepdims=True)
    total = np.log(np.exp(logs - top).sum(axis=axis, keepdims=True)) + top
    return float(total.ravel()[0]) if axis is None else np.squeeze(total, axis=axis)
