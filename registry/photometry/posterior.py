"""The Bayesian linear algebra that a single frame and a sweep share.

y = nuisances + falloff + patch + noise, all in log2 of luminance. Frames only enter through their inner products
with the design's columns (`Sums`), so that everything after is small. Nuisances and falloff are integrated out;
the patch is a strength times one of many random profiles, plus a smooth deviation from it, and the answer is the
average over profiles, kinds of falloff, and "no patch". (Gaussian identities: Rasmussen & Williams, Gaussian
Processes for Machine Learning, 2006, appendix A; truncated normal moments: Johnson, Kotz & Balakrishnan 1994.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.special import erfcx, expit, log_ndtr, ndtr

from registry.photometry.baseline import Kind
from registry.photometry.patches import PatchSamples


@dataclass(frozen=True, eq=False)
class Sums:
    """Weighted inner products of K frames with the columns [nuisances | falloffs | patch nodes].

    gram: (columns, columns) of one frame, unweighted. with_data: (K, columns). data: (K, K) of yᵀy.
    weight: (K, K) precision between frames per pixel. counts: columns of each of the three blocks.
    """

    gram: np.ndarray
    with_data: np.ndarray
    data: np.ndarray
    weight: np.ndarray
    counts: tuple[int, int, int]

    def block(self, first: int, second: int) -> np.ndarray:
        """Weighted Gram block between two groups of columns, stacked frame by frame."""
        return np.kron(self.weight, self.gram[self._slice(first), self._slice(second)])

    def right(self, group: int) -> np.ndarray:
        return (self.weight @ self.with_data[:, self._slice(group)]).ravel()

    @property
    def square(self) -> float:
        return float(np.sum(self.weight * self.data))

    def _slice(self, group):
        start = sum(self.counts[:group])
        return slice(start, start + self.counts[group])


@dataclass(frozen=True, eq=False)
class Reduced:
    """A quadratic form in what is left after integrating something out, for M baselines at once.

    precision: (n, n), shared. right: (n, M). log_evidence: (M,). foreseen: as their kind of falloff is.
    """

    precision: np.ndarray
    right: np.ndarray
    log_evidence: np.ndarray
    foreseen: bool = True


def without_nuisances(sums: Sums, factor: np.ndarray) -> Reduced:
    """Integrate the nuisances out; factor F of their stacked prior covariance F Fᵀ. Left: falloffs, then nodes."""
    inner = np.eye(factor.shape[1]) + factor.T @ sums.block(0, 0) @ factor
    cross = np.hstack([sums.block(0, 1), sums.block(0, 2)])
    precision = np.block([[sums.block(1, 1), sums.block(1, 2)], [sums.block(1, 2).T, sums.block(2, 2)]])
    right = np.concatenate([sums.right(1), sums.right(2)])[:, None]
    log_evidence = np.array([-0.5 * sums.square])
    return _integrate(
        precision, right, log_evidence, inner, factor.T @ cross, factor.T @ sums.right(0)[:, None]
    )


def without_falloff(reduced: Reduced, kind: Kind) -> Reduced:
    """Integrate falloffs of one kind out, one result for each of its means. Left: patch nodes."""
    means = kind.means.T
    n = len(means)
    shifted = reduced.right - reduced.precision[:, :n] @ means
    gained = np.einsum("nm,nm->m", means, reduced.right[:n] + shifted[:n]) / 2
    inner = np.eye(kind.factor.shape[1]) + kind.factor.T @ reduced.precision[:n, :n] @ kind.factor
    left = _integrate(
        reduced.precision[n:, n:],
        shifted[n:],
        reduced.log_evidence + kind.log_weight + gained,
        inner,
        kind.factor.T @ reduced.precision[:n, n:],
        kind.factor.T @ shifted[:n],
    )
    return replace(left, foreseen=kind.foreseen)


def _integrate(precision, right, log_evidence, inner, cross, cross_right):
    lower = np.linalg.cholesky(inner)
    inverse = solve_triangular(lower, np.eye(len(lower)), lower=True, check_finite=False)
    half_cross, half_right = inverse @ cross, inverse @ cross_right
    gained = np.einsum("nm,nm->m", half_right, half_right) / 2 - np.log(np.diag(lower)).sum()
    return Reduced(
        precision - half_cross.T @ half_cross,
        right - half_cross.T @ half_right,
        log_evidence + gained,
    )


def likeliest(
    by_kind: list[Reduced], few: tuple[PatchSamples, ...], most: int
) -> tuple[list[Reduced], float]:
    """Keep the baselines that explain the frame best with one of a few patches, for each strength by itself.

    (What explains it best with a faint patch would crowd out what does with a strong one.) Returns what is kept,
    and the log evidence of all baselines without a patch.
    """
    keep = np.zeros(sum(len(reduced.log_evidence) for reduced in by_kind), dtype=bool)
    for strength in sorted({group.strength for group in few}):
        groups = [group for group in few if group.strength == strength]
        fits = np.concatenate(
            [np.max([part.bound for part in _parts(reduced, groups)], axis=0) for reduced in by_kind]
        )
        keep |= fits >= max(np.sort(fits)[-min(most, len(fits))], fits.max() + MOST_LOG_LOSS)
    kept, start = [], 0
    for reduced in by_kind:
        mine = keep[start : start + len(reduced.log_evidence)]
        start += len(mine)
        if mine.any():
            kept.append(
                replace(reduced, right=reduced.right[:, mine], log_evidence=reduced.log_evidence[mine])
            )
    without = log_sum(np.concatenate([reduced.log_evidence for reduced in by_kind]))
    return kept, float(without)


@dataclass(frozen=True, eq=False)
class Terms:
    """The mixture posterior of a patch: a term for each (baseline, patch profile) that matters, and "no patch".

    log_evidence: of all of it together, prior odds of a patch included. hidden_bell: strength in EV of a broad bell
    that the frame doesn't refute (bells.py), 0 where none was asked for.
    share: weight of each term if there is a patch (terms,), sums to 1. radius: of its profile (terms, K).
    profile_mean, profile_variance: of the excess over the nodes (terms, K·nodes); the variance is what strength
    and deviation leave open within a term. unforeseen: probability that the falloff is like no sample.
    """

    probability_of_patch: float
    unforeseen: float
    log_evidence: float
    share: np.ndarray
    radius: np.ndarray
    profile_mean: np.ndarray
    strength_response: np.ndarray
    strength_variance: np.ndarray
    deviation: np.ndarray
    member: np.ndarray
    hidden_bell: float = 0.0

    def read(self, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mean and standard deviation in each term of rows · profile; rows (n, K·nodes) → (n, terms) twice."""
        mean = rows @ self.profile_mean.T
        spare = np.stack([np.einsum("ij,jk,ik->i", rows, cover, rows) for cover in self.deviation], axis=1)
        variance = spare[:, self.member] + self.strength_variance * (rows @ self.strength_response.T) ** 2
        return mean, np.sqrt(np.maximum(variance, 0))

    def profile(self, nodes: slice) -> tuple[np.ndarray, np.ndarray]:
        """Posterior mean and standard deviation of the excess over some nodes, "no patch" included."""
        weight = self.share * self.probability_of_patch
        values, response = self.profile_mean[:, nodes], self.strength_response[:, nodes]
        mean = weight @ values
        second = weight @ (values**2 + self.strength_variance[:, None] * response**2)
        by_part = np.bincount(self.member, weight, len(self.deviation))
        second += by_part @ np.einsum("pii->pi", self.deviation)[:, nodes]
        return mean, np.sqrt(np.maximum(second - mean**2, 0))


CLEAR = 6.0
MOST_LOG_LOSS = -12.0
MOST_TERMS = 2500
LEAST_LOG_WEIGHT = -6.0
"""Terms lighter than this against the heaviest are left out: together they stay below some thousandths."""


def patch_posterior(
    by_kind: list[Reduced], log_none: float, groups: tuple[PatchSamples, ...], log_odds: float
) -> Terms:
    """Average over kinds of falloff and patch profiles.

    log_none: log evidence without a patch. log_odds: log of the prior odds of a patch here.
    """
    parts = _promising([part for reduced in by_kind for part in _parts(reduced, groups)])
    for part in parts:
        part.weigh()
    heaviest = max(part.heaviest for part in parts)
    parts = [part for part in parts if part.heaviest > heaviest + LEAST_LOG_WEIGHT]
    log_patch = log_sum(np.array([log_sum(part.log_weight) for part in parts])) + log_odds
    every = np.concatenate([part.log_weight.ravel() for part in parts])
    least = heaviest + LEAST_LOG_WEIGHT
    if len(every) > MOST_TERMS:
        least = max(least, np.partition(every, -MOST_TERMS)[-MOST_TERMS])
    chosen = [np.nonzero(part.log_weight >= least) for part in parts]
    picked = [part.pick(*where) for part, where in zip(parts, chosen, strict=True)]
    joined = [np.concatenate([pick[item] for pick in picked]) for item in range(5)]
    weight = np.exp(joined[0] - heaviest)
    member = np.repeat(np.arange(len(parts)), [len(where[0]) for where in chosen])
    unforeseen_share = weight @ np.array([not part.foreseen for part in parts])[member] / weight.sum()
    probability = float(expit(log_patch - log_none))
    return Terms(
        probability_of_patch=probability,
        unforeseen=float(probability * unforeseen_share),
        log_evidence=float(np.logaddexp(log_patch, log_none)),
        share=weight / weight.sum(),
        radius=joined[1],
        profile_mean=joined[2],
        strength_response=joined[3],
        strength_variance=joined[4],
        deviation=np.stack([part.posterior for part in parts]),
        member=member,
    )


def _parts(reduced: Reduced, groups: Sequence[PatchSamples]) -> list[_Part]:
    """One kind of falloff with each of some groups; their small systems are solved in one stack."""
    precision, right = reduced.precision, reduced.right
    deviations = np.stack([group.deviation for group in groups])
    inner = np.eye(len(precision)) + deviations @ precision
    # Posterior covariance of the deviation, given the strength: (D⁻¹ + A)⁻¹, without inverting D.
    posteriors = np.linalg.solve(inner, deviations)
    explained = posteriors @ right
    responses = np.eye(len(precision)) - posteriors @ precision
    gained = np.einsum("nm,gnm->gm", right, explained) / 2 - np.linalg.slogdet(inner)[1][:, None] / 2
    return [
        _Part(group, reduced.foreseen, reduced.log_evidence + more, *systems)
        for group, more, *systems in zip(
            groups,
            gained,
            posteriors,
            explained,
            responses,
            precision @ responses,
            np.swapaxes(responses, 1, 2) @ right,
            strict=True,
        )
    ]


SCOUTS = 5
SCOUTING_MARGIN = 5.0
"""Every so many profiles are scored first; parts whose best scout is this far (in log weight) below what could
matter are dropped. (Neighbouring profiles of a part differ by less.)"""


def _promising(parts: list[_Part]) -> list[_Part]:
    """The parts that may hold a term heavy enough to count."""
    scouted = np.array([part.scouted for part in parts])
    least = scouted.max() + LEAST_LOG_WEIGHT - SCOUTING_MARGIN
    parts = [part for part, best in zip(parts, scouted, strict=True) if best > least]
    best = np.array([part.bound.max() for part in parts])
    return [part for part, mine in zip(parts, best, strict=True) if mine > best.max() + LEAST_LOG_WEIGHT - 1]


_RATIOS = np.arange(-40.0, CLEAR + 0.01, 0.005)
_DOUBTFUL = np.log(erfcx(-_RATIOS / np.sqrt(2)))
"""log of twice the share of a normal above 0, times exp(ratio²/2), against ratio = mean over sd; tabulated."""


class _Part:
    """One kind of falloff and one group of profiles: scores of all pairs, their log weights, chosen ones' moments."""

    def __init__(self, group, foreseen, by_baseline, posterior, explained, response, core, shown):
        self.group, self.foreseen, self.by_baseline = group, foreseen, by_baseline
        self.posterior, self.explained, self.response = posterior, explained, response
        self.core, self.shown = core, shown

    @property
    def scouted(self) -> float:
        """A lower bound of the heaviest term's log weight, from a few of the profiles."""
        return float(self._bound(*self._scores(slice(None, None, SCOUTS))[1:]).max())

    @cached_property
    def bound(self) -> np.ndarray:
        """Largest log weight of each baseline, but for what cutting strengths off at 0 changes (at most log 2)."""
        self.spread, self.ratio, self.by_profile = self._scores(slice(None))
        return self._bound(self.ratio, self.by_profile)

    def _scores(self, chosen):
        profiles = self.group.profiles[chosen]
        spread = np.einsum("ij,ij->i", profiles @ self.core, profiles) + self.group.strength**-2
        ratio = (profiles * (spread**-0.5)[:, None]) @ self.shown
        return spread, ratio, self.group.log_prior - np.log(spread * self.group.strength**2) / 2

    def _bound(self, ratio, by_profile):
        positive = np.maximum(ratio, 0)
        return (positive * positive / 2 + by_profile[:, None]).max(axis=0) + self.by_baseline

    def weigh(self) -> None:
        """Log weights of all pairs; the half-normal's cut at 0 matters where the strength is doubtful."""
        steps = (np.clip(self.ratio, _RATIOS[0], CLEAR) - _RATIOS[0]) / (_RATIOS[1] - _RATIOS[0])
        sure = np.maximum(self.ratio, CLEAR) ** 2 / 2 - CLEAR**2 / 2
        self.log_weight = _DOUBTFUL[(steps + 0.5).astype(np.int32)] + sure
        self.log_weight += self.by_profile[:, None] + self.by_baseline
        self.heaviest = self.log_weight.max()

    def pick(self, sample, baseline):
        """Weight, radii, profile mean, response to the strength, and the strength's variance."""
        spread = self.spread[sample]
        mean, variance = positive_normal(self.ratio[sample, baseline] * spread**-0.5, spread**-0.5)
        response = self.group.profiles[sample] @ self.response.T
        profile = self.explained[:, baseline].T + mean[:, None] * response
        return self.log_weight[sample, baseline], self.group.radius[sample], profile, response, variance


def positive_normal(mean, sd):
    """Mean and variance of normals cut off at 0."""
    ratio = mean / sd
    hazard = np.exp(-(ratio**2) / 2 - log_ndtr(ratio)) / np.sqrt(2 * np.pi)
    return mean + sd * hazard, np.maximum(sd**2 * (1 - hazard * (ratio + hazard)), 1e-12)


def quantiles(weight, mean, sd, at_zero_sd, probabilities):
    """Quantiles of a mixture of normals; what weight lacks of 1 lies at zero, spread by at_zero_sd.

    Terms of nearly one mean are merged first, which keeps mean and variance exactly.
    """
    weight, mean, sd = (
        np.append(weight, max(1 - weight.sum(), 0)),
        np.append(mean, 0),
        np.append(sd, at_zero_sd),
    )
    low, high = mean.min(), mean.max() + 1e-9
    bins = ((mean - low) / (high - low) * 99).astype(int)
    total = np.bincount(bins, weight, 100)
    kept = total > 1e-7
    centre = np.bincount(bins, weight * mean, 100)[kept] / total[kept]
    second = np.bincount(bins, weight * (sd**2 + mean**2), 100)[kept] / total[kept]
    spread = np.sqrt(np.maximum(second - centre**2, 1e-10))
    grid = np.linspace((centre - 5 * spread).min(), (centre + 5 * spread).max(), 500)
    below = ndtr((grid[:, None] - centre) / spread) @ total[kept] / total[kept].sum()
    return np.interp(probabilities, below, grid)


def log_sum(logarithms: np.ndarray) -> float:
    """Logarithm of the sum of exponentials; SciPy's costs several times this on arrays as small as ours."""
    most = logarithms.max()
    return float(most + np.log(np.exp(logarithms - most).sum()))


def solve_ridge(gram: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Solve a symmetric positive-definite system."""
    return cho_solve(cho_factor(gram, check_finite=False), right, check_finite=False)
