"""The baseline's prior: smooth falloff about the frame's centre, and a target lit not quite evenly.

Everything is linear in log2 of luminance. A falloff lives in a few radial shapes (principal components of many
random falloffs); its prior is a mixture of normals, one for each kind of falloff, so that a mild falloff is not
granted the freedom that a strong one needs. Freedom in r² alone would look like a broad patch.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.cluster.vq import kmeans2

from registry.photometry.falloff import RADII, Optics, sample_falloffs
from registry.photometry.grid import Grid, grid_of

FALLOFF_SHAPES = 14
KINDS_OF_FALLOFF = 16
KINDS_OF_SWEEP = 8
FALLOFFS_DRAWN = 4000
KERNEL_WIDTH = 0.3
LARGEST_ERROR = 0.012
FEWEST_MEMBERS = 20
SLACK = ((0, 0.03), (2, 0.03), (4, 0.03))
SAME_LENS_SHARE = 0.75
LOG_UNFORESEEN, UNFORESEEN_WIDTH = -12.0, 1.5

FIRST_WAVE = 11
OUTER_RADIUS = 0.75
"""Corners tell little of a central patch and much of hoods, rims and decentred glass: half weight from here."""

CONSTANT_SD, TILT_SD, SECOND_SD, DECENTRED_SD, OVAL_SD = 10.0, 0.3, 0.02, 0.08, 0.04
WAVES_SD = 0.012
"""Prior standard deviations in EV: level; tilt per half-diagonal; what a decentred lens adds, and one whose falloff
is oval by a few hundredths; the other low orders of an uneven target."""


@dataclass(frozen=True, eq=False)
class Kind:
    """Falloffs of one kind: normals of one covariance F Fᵀ (F: (n, m)) around many means (means: (count, n)).

    log_weight: of each mean in the whole mixture. foreseen: whether samples stand behind it.
    """

    log_weight: float
    means: np.ndarray
    factor: np.ndarray
    foreseen: bool = True


def root_weight_at(radius: np.ndarray) -> np.ndarray:
    """Square root of a pixel's weight by its distance from the frame's centre."""
    return (1 + (radius / OUTER_RADIUS) ** 8) ** -0.5


_AREA = np.sqrt(RADII + 0.01) * root_weight_at(RADII)


@lru_cache(maxsize=1)
def falloff_shapes() -> np.ndarray:
    """Orthogonal radial shapes that span falloffs of all kinds, shape (FALLOFF_SHAPES, len(RADII))."""
    random = np.random.default_rng(20)
    draws = [
        sample_falloffs((None,), None, None, 3000, random),
        sample_falloffs((2.8,), 24, 21.63, 1500, random),
    ]
    curves = np.concatenate(draws)[:, 0]
    curves = curves / (0.02 + curves[:, -5:-4] ** 2) ** 0.35
    _, _, shapes = np.linalg.svd(curves * _AREA, full_matrices=False)
    return shapes[:FALLOFF_SHAPES] / _AREA * np.sqrt(np.sum(_AREA**2))


def falloff_coefficients(curves: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least-squares coefficients of curves (..., len(RADII)) in falloff_shapes(), weighted as pixels are.

    Returns them and the largest error within OUTER_RADIUS in EV: what a hood cuts off sharply can't be said so.
    """
    # The constant is a nuisance of its own, so it takes its share here too.
    design = np.vstack([falloff_shapes(), np.ones_like(RADII)])
    answer = (curves * _AREA) @ np.linalg.pinv(design * _AREA)
    inside = RADII <= OUTER_RADIUS
    error = np.abs(answer @ design - curves)[..., inside].max(axis=-1)
    return answer[..., :FALLOFF_SHAPES], error


@dataclass(frozen=True, eq=False)
class Columns:
    """Design columns on a grid, each times root_weight.

    nuisances: (pixels, n) with prior sd (n,); the first is the level, then tilt by x and y. falloffs: (pixels,
    FALLOFF_SHAPES). broad: which nuisances are broad structure, neither tilt nor a decentred or oval lens.
    """

    grid: Grid
    nuisances: np.ndarray
    nuisance_sd: np.ndarray
    falloffs: np.ndarray
    root_weight: np.ndarray
    broad: np.ndarray

    @cached_property
    def both(self) -> np.ndarray:
        return np.hstack([self.nuisances, self.falloffs])

    @cached_property
    def both_single(self) -> np.ndarray:
        """The same in single precision: enough for what only seeks a patch's place."""
        return self.both.astype(np.float32)

    @cached_property
    def root_weight_single(self) -> np.ndarray:
        return self.root_weight.astype(np.float32)

    @cached_property
    def gram(self) -> np.ndarray:
        """Inner products of both."""
        return self.both.T @ self.both


@lru_cache(maxsize=16)
def columns_on(height: int, width: int) -> Columns:
    grid = grid_of(height, width)
    x, y = grid.x, grid.y
    squared = x**2 + y**2
    columns = [
        np.ones_like(x),
        x,
        y,
        x**2 - y**2,
        2 * x * y,
        x * squared,
        y * squared,
        x * squared**2,
        y * squared**2,
        (x**2 - y**2) * squared,
        2 * x * y * squared,
    ]
    sds = [CONSTANT_SD, TILT_SD, TILT_SD, SECOND_SD, SECOND_SD, *[DECENTRED_SD] * 4, *[OVAL_SD] * 2]
    for order in range(2, 5):
        for across in range(order + 1):
            down = order - across
            columns.append(
                np.cos(across * np.pi / 2 * (x / grid.half_width + 1))
                * np.cos(down * np.pi / 2 * (y / grid.half_height + 1))
            )
            sds.append(WAVES_SD * (2 / order) ** 2.5)
    radius = np.sqrt(squared)
    falloffs = np.stack([np.interp(radius, RADII, shape) for shape in falloff_shapes()], axis=1)
    root_weight = root_weight_at(radius)
    return Columns(
        grid,
        np.stack(columns, axis=1) * root_weight[:, None],
        np.array(sds),
        falloffs * root_weight[:, None],
        root_weight,
        np.array([3, 4, *range(FIRST_WAVE, len(sds))]),
    )


def rounded(optics: Optics) -> Optics:
    """Optics to the coarseness at which priors are kept: half stops, and sixths of an octave in length."""

    def snap(value, steps):
        return None if not value else float(2 ** (round(np.log2(value) * steps) / steps))

    return Optics(snap(optics.f_number, 4), snap(optics.focal_length_mm, 3), snap(optics.half_diagonal_mm, 3))


@lru_cache(maxsize=64)
def single_frame_kinds(optics: Optics) -> tuple[Kind, ...]:
    """The mixture for one frame; optics as rounded()."""
    return kinds_of(_drawn((optics.f_number,), optics, np.random.default_rng(7)), KINDS_OF_FALLOFF)


def _drawn(f_numbers, optics, random):
    return sample_falloffs(f_numbers, optics.focal_length_mm, optics.half_diagonal_mm, FALLOFFS_DRAWN, random)


@lru_cache(maxsize=16)
def control_kinds(optics: Optics) -> tuple[Kind, ...]:
    """The mixture for the ratio of one frame to its control; optics as rounded()."""
    random = np.random.default_rng(9)
    return kinds_of(_against_control(_drawn((optics.f_number,), optics, random), random), KINDS_OF_FALLOFF)


def _against_control(curves, random):
    """Mostly the control is the same lens in visible light, whose falloff differs a little; it may be another
    lens that is known to be clean, and then two falloffs stand against each other."""
    same_lens = random.random(len(curves))[:, None, None] < SAME_LENS_SHARE
    little = curves * random.normal(0, 0.08, (len(curves), 1, 1))
    return np.where(same_lens, little, curves - random.permutation(curves))


@lru_cache(maxsize=16)
def sweep_kinds(f_numbers: tuple[float, ...], optics: Optics, with_control: bool) -> tuple[Kind, ...]:
    """The mixture for a whole sweep, coefficients stacked frame by frame; optics as rounded()."""
    random = np.random.default_rng(8)
    curves = _drawn(f_numbers, optics, random)
    return kinds_of(_against_control(curves, random) if with_control else curves, KINDS_OF_SWEEP)


def _marks_of(curves):
    """Depth of the falloff at some radii, compressed so that kinds of mild falloffs are told apart."""
    depths = curves[:, [15, 25, 35, 43, 50]]
    return np.sign(depths) * np.sqrt(np.abs(depths))


def kinds_of(curves: np.ndarray, count: int) -> tuple[Kind, ...]:
    """A kernel estimate of the density of falloffs: curves (falloffs, frames, len(RADII)) in `count` clusters.

    The kernel of each cluster is its own covariance, narrowed, with some slack in proportion to its mean: the
    deeper a falloff, the less exactly any sample can be like it. Curves that the shapes can't say are left out.
    """
    coefficients, error = falloff_coefficients(curves)
    sayable = error.max(axis=1) < LARGEST_ERROR
    curves, stacked = curves[sayable], coefficients[sayable].reshape(sayable.sum(), -1)
    marks = _marks_of(curves[:, 0])
    if curves.shape[1] > 1:
        marks = np.hstack([marks, _marks_of(curves[:, -1])])
    _, labels = kmeans2(marks, count, iter=12, minit="++", seed=3)
    kinds = []
    for label in np.unique(labels):
        members = stacked[labels == label]
        if len(members) < FEWEST_MEMBERS:
            continue
        centred = (members - members.mean(axis=0)) / np.sqrt(len(members))
        _, singular, directions = np.linalg.svd(centred, full_matrices=False)
        keep = singular > 1e-4
        own = KERNEL_WIDTH * directions[keep].T * singular[keep]
        slack = _slack(np.sqrt((curves[labels == label] ** 2).mean(axis=0)))
        kinds.append(Kind(float(-np.log(len(stacked))), members, np.hstack([own, slack])))
    return (*kinds, _unforeseen(stacked))


def _slack(depth):
    """Factor columns: shares of a falloff's depth, times 1, r² and r⁴. depth: (frames, len(RADII))."""
    curves = np.stack([share * depth * RADII**power for power, share in SLACK])
    return falloff_coefficients(curves)[0].reshape(len(SLACK), -1).T


def _unforeseen(coefficients):
    """One broad normal for falloffs that no sample resembles: all samples' covariance, widened."""
    mean = coefficients.mean(axis=0)
    spread = np.cov(coefficients.T) + 1e-6 * np.eye(len(mean))
    return Kind(LOG_UNFORESEEN, mean[None], np.linalg.cholesky(spread) * UNFORESEEN_WIDTH, foreseen=False)
