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
from functools import lru_cache

import numpy as np
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.linalg.blas import dtrsm
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


def without_falloff(reduced: Reduced, kinds: Sequence[Kind]) -> list[Reduced]:
    """Integrate the falloffs of each kind out, one result for each of its means. Left: patch nodes.

    What depends on the kind only is done for all kinds in one stack; a mean then costs one small product.
    """
    n = kinds[0].means.shape[1]
    factors = _stacked([kind.factor for kind in kinds])
    across = np.swapaxes(factors, 1, 2)
    lower = np.linalg.cholesky(np.eye(factors.shape[2]) + across @ reduced.precision[:n, :n] @ factors)
    halves = np.linalg.solve(lower, across @ np.hstack([reduced.precision[:n], reduced.right[:n]]))
    results = []
    for kind, triangle, half in zip(kinds, lower, halves, strict=True):
        half, half_right = half[:, :-1], half[:, -1]
        precision = reduced.precision - half.T @ half
        right = reduced.right[:, 0] - half.T @ half_right
        shift = precision[:, :n] @ kind.means.T
        gained = half_right @ half_right / 2 - np.log(np.diag(triangle)).sum()
        gained = gained + np.einsum("mn,nm->m", kind.means, right[:n, None] - shift[:n] / 2)
        results.append(
            Reduced(
                precision[n:, n:],
                right[n:, None] - shift[n:],
                reduced.log_evidence + kind.log_weight + gained,
                kind.foreseen,
            )
        )
    return results


def _stacked(factors: Sequence[np.ndarray]) -> np.ndarray:
    """Factors (n, k) of covariances in one array; columns of zeros, which say nothing, fill the narrower ones."""
    stack = np.zeros((len(factors), len(factors[0]), max(factor.shape[1] for factor in factors)))
    for place, factor in zip(stack, factors, strict=True):
        place[:, : factor.shape[1]] = factor
    return stack


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
    groups = _stacked_groups(few, 1)
    fits = np.concatenate([_Pairing(reduced, groups).largest() for reduced in by_kind], axis=1)
    keep = np.zeros(fits.shape[1], dtype=bool)
    for strength in sorted({group.strength for group in few}):
        best = fits[groups.strength == strength].max(axis=0)
        keep |= best >= max(np.sort(best)[-min(most, len(best))], best.max() + MOST_LOG_LOSS)
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
    parts = _promising(by_kind, groups)
    level = max(part.bound.max() for part in parts)
    for part in parts:
        part.weigh(level)
    log_patch = log_sum(np.array([log_sum(part.log_weight) for part in parts])) + level + log_odds
    least = max(part.log_weight.max() for part in parts) + LEAST_LOG_WEIGHT
    heavy = np.concatenate([part.log_weight[part.log_weight >= least] for part in parts])
    if len(heavy) > MOST_TERMS:
        least = np.partition(heavy, -MOST_TERMS)[-MOST_TERMS]
    chosen = [np.nonzero(part.log_weight >= least) for part in parts]
    picked = [part.pick(*where) for part, where in zip(parts, chosen, strict=True)]
    log_weight, radius, mean, response, variance = (
        np.concatenate([pick[item] for pick in picked]) for item in range(5)
    )
    member = np.repeat(np.arange(len(parts)), [len(where[0]) for where in chosen])
    deviation = np.stack([part.half.T @ part.half for part in parts])
    spread = np.sqrt(np.einsum("pii->pi", deviation)[member] + variance[:, None] * response**2)
    log_weight = log_weight.astype(float) + _log_chance_of_added_light(mean, spread)
    weight = np.exp(log_weight - log_weight.max())
    unforeseen_share = weight @ np.array([not part.foreseen for part in parts])[member] / weight.sum()
    probability = float(expit(log_patch - log_none))
    return Terms(
        probability_of_patch=probability,
        unforeseen=float(probability * unforeseen_share),
        log_evidence=float(np.logaddexp(log_patch, log_none)),
        share=weight / weight.sum(),
        radius=radius,
        profile_mean=mean,
        strength_response=response,
        strength_variance=variance,
        deviation=deviation,
        member=member,
    )


SHADOW_EV, SHADOW_SHARE = 0.005, 0.03
"""A profile may dip so far below 0, in EV and as a share of its peak: patches are not quite round nor profiles quite
piecewise linear."""


def _log_chance_of_added_light(mean: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """Log chance that a term's profile takes light away nowhere, at the node where that is least likely.

    A hotspot is added light. The normal deviations from a sample know nothing of that: a dark ring round a patch
    would let falloff eat its height. mean, sd: of the profiles (terms, K·nodes). The odds of a patch stay as they
    are, for the prior of patches means only those that add light.
    """
    slack = SHADOW_EV + SHADOW_SHARE * np.maximum(mean.max(axis=1, keepdims=True), 0)
    return log_ndtr(((mean + slack) / np.maximum(sd, slack)).min(axis=1))


@dataclass(frozen=True, eq=False)
class _Groups:
    """Groups of patch samples in one stack, single precision; profiles of zeros, never likely, fill the smaller ones.

    profiles: (groups, count, n). log_prior: (groups, count). across: transposed factors of the deviations
    (groups, k, n), double.
    """

    members: tuple[PatchSamples, ...]
    profiles: np.ndarray
    log_prior: np.ndarray
    across: np.ndarray
    strength: np.ndarray


@lru_cache(maxsize=64)
def _stacked_groups(groups: tuple[PatchSamples, ...], step: int) -> _Groups:
    """Every step-th profile of each group."""
    counts = [len(group.profiles[::step]) for group in groups]
    profiles = np.zeros((len(groups), max(counts), groups[0].profiles.shape[1]), dtype=np.float32)
    log_prior = np.full(profiles.shape[:2], -np.inf, dtype=np.float32)
    for index, (group, count) in enumerate(zip(groups, counts, strict=True)):
        profiles[index, :count] = group.profiles[::step]
        log_prior[index, :count] = group.log_prior
    across = np.ascontiguousarray(np.swapaxes(_stacked([group.deviation_factor for group in groups]), 1, 2))
    return _Groups(groups, profiles, log_prior, across, np.array([group.strength for group in groups]))


class _Pairing:
    """One kind of falloff with several groups of profiles: their small systems, solved in one stack.

    Scores are in single precision: they only rank and weigh. What a baseline weighs without a patch (by_baseline,
    (groups, M)) stays double, since large numbers nearly cancel in it.
    """

    def __init__(self, reduced: Reduced, groups: _Groups):
        self.reduced, self.groups = reduced, groups
        precision, across = reduced.precision, groups.across
        lower = np.linalg.cholesky(np.eye(across.shape[1]) + across @ precision @ np.swapaxes(across, 1, 2))
        # Posterior covariance of the deviation given the strength: F (1 + FᵀAF)⁻¹ Fᵀ = halfᵀ half.
        self.half = _solve_lower(lower, across)
        known = self.half @ precision
        across = np.swapaxes(known, 1, 2)
        self.core = precision - across @ known
        self.response = np.eye(len(precision)) - across @ self.half
        self.right = reduced.right.astype(np.float32)
        explained = self.half.astype(np.float32).reshape(-1, len(precision)) @ self.right
        explained *= explained
        gained = explained.reshape(len(lower), -1, self.right.shape[1]).sum(axis=1) / 2
        gained -= np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1)[:, None]
        self.by_baseline = reduced.log_evidence + gained

    def largest(self) -> np.ndarray:
        """Each baseline's largest log weight with each group, but for what cutting strengths off at 0 changes
        (at most log 2), (groups, M)."""
        groups = self.groups
        _, ratio, by_profile = _scores(
            groups.profiles, self.core, self.response, groups.strength, groups.log_prior, self.right
        )
        return _largest(ratio, by_profile) + self.by_baseline

    def part(self, index: int, chosen: np.ndarray) -> _Part:
        """One group with some of the baselines."""
        return _Part(
            self.groups.members[index],
            _stacked_groups(self.groups.members, 1).profiles[index],
            self.reduced.foreseen,
            self.by_baseline[index, chosen],
            self.half[index],
            self.core[index],
            self.response[index],
            self.reduced.right[:, chosen],
        )


def _solve_lower(lower: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Solve stacks of lower triangular systems; NumPy's general solver takes twice as long at our sizes."""
    # A C-ordered array is its transpose in Fortran's order, hence X Lᵀ = B from the right.
    return np.stack([dtrsm(1.0, a.T, b.T, side=1, lower=0).T for a, b in zip(lower, right, strict=True)])


def _scores(profiles, core, response, strength, log_prior, right):
    """Precision of the strength, its mean over its standard deviation for each baseline, and the log of prior and
    volume; of profiles (..., count, n) with systems (..., n, n)."""
    n = len(right)
    seen = profiles @ np.concatenate([core, response], axis=-1).astype(np.float32)
    strength = np.asarray(strength, dtype=np.float32)[..., None]
    spread = np.einsum("...ij,...ij->...i", seen[..., :n], profiles) + strength**-2
    scaled = seen[..., n:] * (spread**-0.5)[..., None]
    ratio = (scaled.reshape(-1, n) @ right).reshape(*profiles.shape[:-1], -1)
    return spread, ratio, log_prior - np.log(spread * strength**2) / 2


def _largest(ratio, by_profile):
    weight = np.maximum(ratio, 0)
    weight *= weight
    weight /= 2
    weight += by_profile[..., None]
    return weight.max(axis=-2)


SCOUTS = 5
SCOUTING_MARGIN, BASELINE_MARGIN = 5.0, 13.0
"""Every so many profiles are scored first; parts whose best scout, and baselines of a part whose best scout, is so far
(in log weight) below what could matter are dropped. (Neighbouring profiles differ by less.)"""

CUT_OFF_MARGIN = 1.0


def _promising(by_kind: list[Reduced], groups: tuple[PatchSamples, ...]) -> list[_Part]:
    """The parts that may hold a term heavy enough to count, each with those of its baselines that may."""
    pairings = [_Pairing(reduced, _stacked_groups(groups, SCOUTS)) for reduced in by_kind]
    scouted = [pairing.largest() for pairing in pairings]
    least = max(best.max() for best in scouted) + LEAST_LOG_WEIGHT
    parts = [
        pairing.part(index, row > least - BASELINE_MARGIN)
        for pairing, best in zip(pairings, scouted, strict=True)
        for index, row in enumerate(best)
        if row.max() > least - SCOUTING_MARGIN
    ]
    least = max(part.bound.max() for part in parts) + LEAST_LOG_WEIGHT - CUT_OFF_MARGIN
    return [part for part in parts if part.bound.max() > least]


_RATIOS = np.arange(-40.0, CLEAR + 0.01, 0.005)
_DOUBTFUL = np.log(erfcx(-_RATIOS / np.sqrt(2))).astype(np.float32)
"""log of twice the share of a normal above 0, times exp(ratio²/2), against ratio = mean over sd; tabulated."""


class _Part:
    """One kind of falloff and one group of profiles: scores of all pairs, their log weights, chosen ones' moments."""

    def __init__(self, group, profiles, foreseen, by_baseline, half, core, response, right):
        self.group, self.foreseen, self.by_baseline = group, foreseen, by_baseline
        self.half, self.response, self.right = half, response, right
        self.spread, self.ratio, self.by_profile = _scores(
            profiles[: len(group.profiles)],
            core,
            response,
            group.strength,
            group.log_prior,
            right.astype(np.float32),
        )
        self.bound = _largest(self.ratio, self.by_profile) + by_baseline

    def weigh(self, level: float) -> None:
        """Log weights of all pairs, less level; the half-normal's cut at 0 matters where the strength is doubtful."""
        steps = (np.clip(self.ratio, _RATIOS[0], CLEAR) - _RATIOS[0]) / (_RATIOS[1] - _RATIOS[0])
        sure = np.maximum(self.ratio, CLEAR) ** 2 / 2 - CLEAR**2 / 2
        self.log_weight = _DOUBTFUL[(steps + 0.5).astype(np.int32)] + sure
        self.log_weight += self.by_profile[:, None]
        self.log_weight += (self.by_baseline - level).astype(np.float32)

    def pick(self, sample, baseline):
        """Weight, radii, profile mean, response to the strength, and the strength's variance."""
        spread = self.spread[sample]
        mean, variance = positive_normal(self.ratio[sample, baseline] * spread**-0.5, spread**-0.5)
        response = self.group.profiles[sample] @ self.response
        profile = (self.half @ self.right[:, baseline]).T @ self.half + mean[:, None] * response
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
