"""What hotspots look like: random radial profiles, from which the patch's prior is made.

A hotspot is roughly an image of the iris out of focus: a soft bell wide open, a disc or polygon with an edge
when stopped down, at times with a dark middle or a faint skirt. It shrinks as the aperture closes, and grows
stronger; some lenses show it alike at every aperture (ordering facts: common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.linalg import block_diag

NODES = np.array(
    [0, 0.02, 0.04, 0.06, 0.08, 0.1, 0.125, 0.15, 0.175, 0.2, 0.23, 0.26, 0.3]
    + [0.34, 0.38, 0.43, 0.48, 0.54, 0.61, 0.7, 0.8, 0.92, 1.06, 1.25]
)
"""Radii (half-diagonals) between which profiles are linear."""

FURTHEST = 0.14
"""Patches lie near the optical axis: no coordinate of a centre is searched further out than this."""

DISC_RADIUS = 0.03
"""The excess is defined as the mean over a disc of this radius at the patch's centre."""

SMALLEST_RADIUS, LARGEST_RADIUS = 0.045, 0.5
USUAL_LARGEST_RADIUS = 0.3

SIZE_BOUNDS = (0.09, 0.16, 0.26)
COARSE_SIZE_BOUNDS = (0.16,)
"""Samples are grouped by size between these radii."""

SCALES = ((0.02, 0.12), (0.06, 0.12), (0.2, 0.12), (0.2, 0.03), (0.6, 0.12), (0.6, 0.03))
COARSE_SCALES = ((0.06, 0.3), (0.5, 0.3))
"""Pairs, equally likely: scale of the half-normal prior of a patch's strength in EV, and the standard deviation, as
a share of it, of the smooth difference between a patch and its sample. (No patch is quite like a sample, but a
wide allowance alone would cost a strong patch that is like one most of its evidence.)"""


@lru_cache(maxsize=1)
def disc_weights() -> np.ndarray:
    """Weights over NODES that give the mean over the disc, shape (len(NODES),)."""
    radii = (np.arange(200) + 0.5) / 200 * DISC_RADIUS
    hats = np.array([np.interp(radii, NODES, unit) for unit in np.eye(len(NODES))])
    return (hats * radii).sum(1) / radii.sum()


@dataclass(frozen=True, eq=False)
class PatchSamples:
    """Patches of one strength class and about one size.

    profiles: (count, frames · len(NODES)), strongest frame's peak 1. radius: of each frame (count, frames).
    strength: scale in EV of the half-normal prior of the factor before the profile. log_prior: of each profile.
    deviation: covariance of the smooth difference between patch and profile (frames · len(NODES), same).
    """

    profiles: np.ndarray
    radius: np.ndarray
    strength: float
    log_prior: float
    deviation: np.ndarray

    @cached_property
    def deviation_factor(self) -> np.ndarray:
        """F with F Fᵀ the deviation, without directions fainter than anything measures, (frames · len(NODES), k)."""
        variances, directions = np.linalg.eigh(self.deviation)
        kept = variances > FAINTEST_DEVIATION**2
        return directions[:, kept] * np.sqrt(variances[kept])


FAINTEST_DEVIATION = 3e-5
"""In EV: a hundredth of what the mean of a whole ring of pixels tells."""


def grouped(
    profiles: np.ndarray,
    radius: np.ndarray,
    scales: tuple[tuple[float, float], ...],
    size_bounds: tuple[float, ...],
) -> tuple[PatchSamples, ...]:
    """Every profile at every scale, grouped by scale and size. profiles: (count, frames, len(NODES))."""
    size_class = np.searchsorted(size_bounds, radius.mean(axis=1))
    log_prior = -np.log(len(profiles) * len(scales))
    groups = []
    for size in np.unique(size_class):
        members = profiles[size_class == size]
        scale = np.sqrt((members**2).mean(axis=0))
        mean_radius = radius[size_class == size].mean(axis=0)
        smooth = _smooth_covariance(scale, mean_radius)
        skirts = _skirt_covariance(scale, mean_radius)
        for strength, deviation in scales:
            cover = (deviation * strength) ** 2 * smooth
            if deviation > SKIRTED_FROM:
                cover = cover + (SKIRT_SD * strength) ** 2 * skirts
            groups.append(
                PatchSamples(
                    members.reshape(len(members), -1),
                    radius[size_class == size],
                    float(strength),
                    float(log_prior),
                    cover,
                )
            )
    return tuple(groups)


def _smooth_covariance(scale, radius):
    """Unit covariance between nodes, within frames only, fading outside the patch."""
    steps = np.arange(len(NODES))
    near = np.exp(-0.5 * ((steps[:, None] - steps) / 1.5) ** 2)
    blocks = []
    for peak, size in zip(scale.max(axis=1), radius, strict=True):
        fade = peak * np.exp(-((NODES / (1.8 * size)) ** 2))
        blocks.append(near * np.outer(fade, fade) + 1e-9 * np.eye(len(NODES)))
    return block_diag(*blocks)


SKIRTED_FROM = 0.1
SKIRT_SD = 0.05
SKIRT_REACHES = (2.2, 3.2)


def _skirt_covariance(scale, radius):
    """Unit covariance of faint bells beyond the patch, alike in all frames."""
    total = 0
    for reach in SKIRT_REACHES:
        bell = np.concatenate(
            [
                peak * np.exp(-np.log(2) * (NODES / (reach * size)) ** 2)
                for peak, size in zip(scale.max(axis=1), radius, strict=True)
            ]
        )
        total = total + np.outer(bell, bell)
    return total


PATCHES_DRAWN = 1200


@lru_cache(maxsize=1)
def single_frame_patches() -> tuple[PatchSamples, ...]:
    return sample_patches((None,), PATCHES_DRAWN, np.random.default_rng(5))


@lru_cache(maxsize=1)
def few_patches() -> tuple[PatchSamples, ...]:
    """A coarse choice of patches, enough to rank baselines by."""
    return sample_patches((None,), 70, np.random.default_rng(6), COARSE_SCALES, COARSE_SIZE_BOUNDS)


def sample_patches(
    f_numbers: tuple[float | None, ...],
    count: int,
    random: np.random.Generator,
    scales: tuple[tuple[float, float], ...] = SCALES,
    size_bounds: tuple[float, ...] = SIZE_BOUNDS,
) -> tuple[PatchSamples, ...]:
    """Draw patches of `count` lenses, each at all f-numbers."""
    relative = _relative_openings(f_numbers)
    radius = _radii(relative, count, random)
    growth = _growth(relative, count, random)
    shape = _Shapes(count, random)
    profiles = np.empty((count, len(f_numbers), len(NODES)))
    for frame in range(len(f_numbers)):
        hardness = relative[frame] ** -shape.hardening
        unit = shape.profile(NODES / radius[:, frame, None], hardness[:, None])
        profiles[:, frame] = growth[:, frame, None] * unit
    profiles /= profiles.max(axis=(1, 2), keepdims=True)
    return grouped(profiles, radius, scales, size_bounds)


def _relative_openings(f_numbers):
    """Pupil diameters relative to the narrowest: 1 for the narrowest frame, more for wider ones."""
    if len(f_numbers) == 1:
        return np.ones(1)
    return max(f_numbers) / np.asarray(f_numbers, dtype=float)


def _radii(relative, count, random):
    """log-uniform up to USUAL_LARGEST_RADIUS, rarer beyond; radius ∝ opening^slope, slope within 0 to 1."""
    usual = np.exp(random.uniform(np.log(SMALLEST_RADIUS), np.log(USUAL_LARGEST_RADIUS), count))
    broad = random.uniform(USUAL_LARGEST_RADIUS, LARGEST_RADIUS, count)
    radius = np.where(random.random(count) < 0.8, usual, broad)
    slope = random.beta(2.2, 1.6, count)
    if len(relative) > 1:
        radius = np.where(random.random(count) < 0.5, radius, radius * 0.6)
    return np.minimum(radius[:, None] * relative ** slope[:, None], 0.8)


def _growth(relative, count, random):
    """Strength against the narrowest frame's: a power of the f-number, one that levels off, or none at all."""
    draw = random.random(count)
    steep, mild, flat = (
        random.uniform(0.3, 2.5, count),
        random.uniform(0, 0.5, count),
        random.normal(0, 0.08, count),
    )
    power = np.select([draw < 0.65, draw < 0.82], [steep, mild], flat)
    growth = relative ** -power[:, None]
    level = np.where(random.random(count) < 0.3, random.uniform(0.3, 1, count), 1)
    return np.minimum(growth, level[:, None])


SHAPE_SHARES = (0.3, 0.25, 0.12, 0.18, 0.1, 0.05)
"""How often a patch is taken to be a bell, a disc with an edge, a hollow one, a core with a skirt, a bell with tails,
or one that levels off as a power of the radius."""

HALOED, HALO_SHARE = 0.12, 0.2
"""So many of all have a halo beside (a second reflection, further out of focus); standard deviation of its share."""


class _Shapes:
    """Parameters of `count` shapes; profile() gives them at u = r / radius."""

    def __init__(self, count, random):
        self.kind = random.choice(6, count, p=SHAPE_SHARES)
        self.power = np.exp(random.uniform(np.log(1.3), np.log(7), count))[:, None]
        self.edge = np.exp(random.uniform(np.log(0.03), np.log(0.3), count))[:, None]
        self.depth = random.uniform(0.1, 1, count)[:, None]
        self.hollow = random.uniform(0.3, 0.9, count)[:, None]
        self.skirt = random.uniform(0.05, 0.5, count)[:, None]
        self.skirt_width = random.uniform(1.4, 3, count)[:, None]
        self.tail = random.uniform(1, 4, count)[:, None]
        self.hardening = random.uniform(0, 0.6, count)
        self.steepness = random.uniform(2.2, 5, count)[:, None]
        self.halo = (np.abs(random.normal(0, HALO_SHARE, count)) * (random.random(count) < HALOED))[:, None]
        self.halo_width = np.exp(random.uniform(np.log(1.5), np.log(3.5), count))[:, None]
        self.halo_bell = (random.random(count) < 0.6)[:, None]

    def profile(self, u, hardness):
        bell = np.exp(-np.log(2) * u ** (self.power * np.clip(hardness, 0.5, 1)))
        disc = 1 / (1 + np.exp(np.clip((u - 1) / (self.edge / hardness), -40, 40)))
        core = np.where(self.power > 3, disc, bell)
        hollowed = core * (1 - self.depth * np.exp(-((u / self.hollow) ** 2)))
        skirted = core + self.skirt * np.exp(-((u / self.skirt_width) ** 2))
        tailed = (1 + u**2 * (2 ** (1 / self.tail) - 1)) ** -self.tail
        levelling = 1 / (1 + u**self.steepness)
        kinds = np.stack([bell, disc, hollowed, skirted, tailed, levelling])
        chosen = np.take_along_axis(kinds, self.kind[None, :, None], axis=0)[0] + self._halo(u)
        return chosen / chosen.max(axis=1, keepdims=True)

    def _halo(self, u):
        wide = u / self.halo_width
        return self.halo * np.where(self.halo_bell, np.exp(-np.log(2) * wide**2), 1 / (1 + wide**3))
