"""How a clean lens may darken towards the corners: random falloffs, from which the baseline's prior is made.

Natural falloff is cos^p of the field angle (p = 4 is the textbook law; entrance pupils that grow, shrink or
move make it 1.5 to 4.5 in practice: common practice, no source); mechanical vignetting starts at some radius
and fades as the aperture closes; a lens profile in the camera may have taken part of both away, or too much.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

RADII = np.linspace(0, 1.04, 53)
"""Radii (half-diagonals) at which falloffs are sampled."""

LAW_SHARES = (0.6, 0.15, 0.08, 0.17)
"""How often natural falloff is taken to follow the cosine, an even polynomial, a plain power, a straightening curve."""

RIM_SHARES = (0.35, 0.4, 0.15, 0.1)
"""The same of vignetting by rims: a power from some radius on, overlapping pupils, a rounded step, none."""

COMMON_HALF_DIAGONALS_MM = np.array([21.63, 21.63, 14.2, 10.8])


@dataclass(frozen=True)
class Optics:
    """What is known of a frame's geometry: f-number, focal length and half-diagonal in mm, each may be None."""

    f_number: float | None = None
    focal_length_mm: float | None = None
    half_diagonal_mm: float | None = None


def sample_falloffs(
    f_numbers: tuple[float | None, ...],
    focal_length_mm: float | None,
    half_diagonal_mm: float | None,
    count: int,
    random: np.random.Generator,
) -> np.ndarray:
    """Draw falloffs of `count` lenses, each at all f-numbers.

    Returns log2 of relative illumination, 0 at the centre, shape (count, len(f_numbers), len(RADII)).
    An f-number of None is drawn per lens.
    """
    natural = _natural(focal_length_mm, half_diagonal_mm, count, random)[:, None]
    openings = _openings(f_numbers, count, random)
    wide_open = np.ones((count, 1))
    mechanical = _mechanical(np.hstack([openings, wide_open]), random)
    clean = natural + mechanical
    falloff = clean[:, :-1] - _profile_gain(clean, random)
    return falloff - falloff[..., :1]


def _profile_gain(clean, random):
    """What a lens profile adds: a share of the frame's own falloff, or a polynomial in r² of that wide open.

    clean: (count, frames + 1, len(RADII)), wide open last.
    """
    count = len(clean)
    share = random.uniform(-0.1, 1.1, count)[:, None, None]
    powers = RADII[:, None] ** [2, 4, 6]
    polynomial = clean[:, -1:] @ np.linalg.pinv(powers).T @ powers.T
    first, second = random.normal(0, 0.02, (2, count, 1, 1))
    wave = first * (RADII**2 - RADII**4) * 4 + second * (RADII**2 - RADII**6) * 2
    draw = random.random(count)[:, None, None]
    own = share * clean[:, :-1] + wave
    fixed = share * polynomial + np.zeros_like(clean[:, :-1])
    return np.select([draw < 0.2, draw < 0.35], [own, fixed], 0.25 * wave)


def _natural(focal, half_diagonal, count, random):
    """One of four laws for each lens; only the first knows of the focal length, for the others stand for what
    designs, profiles and other sensors make of it."""
    laws = np.stack(
        [
            _cosine(focal, half_diagonal, count, random),
            _even_polynomial(count, random),
            _plain_power(count, random),
            _straightening(count, random),
        ]
    )
    return np.take_along_axis(laws, random.choice(4, count, p=LAW_SHARES)[None, :, None], axis=0)[0]


def _cosine(focal, half_diagonal, count, random):
    """cos^p of the field angle, at times with a plain power of the radius on top."""
    sizes = np.full(count, half_diagonal) if half_diagonal else random.choice(COMMON_HALF_DIAGONALS_MM, count)
    angle = np.exp(random.uniform(np.log(0.04), np.log(1.9), count))
    if focal:
        told = random.random(count) < 0.75
        angle = np.where(told, sizes / focal * random.uniform(0.5, 1.15, count), angle)
    power = random.uniform(1.5, 4.5, count)[:, None]
    cosine = power * np.log2(np.cos(np.arctan(np.minimum(angle, 2.2)[:, None] * RADII)))
    return cosine + np.where(random.random(count) < 0.25, 1, 0)[:, None] * 0.6 * _plain_power(count, random)


def _even_polynomial(count, random):
    """Random amounts of r², r⁴ and r⁶, each of which may be missing."""
    amounts = random.exponential(0.5, (count, 3)) * (random.random((count, 3)) < 0.75)
    return -amounts @ (RADII ** np.array([2, 4, 6])[:, None])


def _plain_power(count, random):
    amount, power = random.exponential(0.8, (count, 1)), random.uniform(2, 5.5, (count, 1))
    return -amount * RADII**power


def _straightening(count, random):
    """Curves that start as r² and go on straight: log cosh."""
    amount, width = random.exponential(1.0, (count, 1)), random.uniform(0.4, 1.2, (count, 1))
    return -amount * np.log2(np.cosh(RADII / width)) * width**2 * 1.4


def _openings(f_numbers, count, random):
    """Aperture relative to each lens's widest, at most 1, shape (count, frames)."""
    drawn = np.exp(random.uniform(np.log(1.4), np.log(16), count))
    numbers = np.stack([drawn if number is None else np.full(count, number) for number in f_numbers], axis=1)
    known_widest = numbers.min(axis=1)
    widest = np.minimum(np.exp(random.uniform(np.log(1.2), np.log(6.3), count)), known_widest)
    # A sweep mostly starts at the lens's widest aperture.
    widest = np.where(random.random(count) < (0.6 if len(f_numbers) > 2 else 0.15), known_widest, widest)
    return np.minimum(1, widest[:, None] / numbers)


def _mechanical(openings, random):
    count = len(openings)
    amount = random.exponential(0.8, count)[:, None, None]
    fade = (openings ** random.uniform(0.8, 2.4, count)[:, None])[..., None]
    onset = random.uniform(0, 0.7, count)[:, None, None]
    power = random.uniform(1.3, 5.5, count)[:, None, None]
    from_onset = -amount * fade * (np.maximum(0, RADII - onset) / (1 - onset)) ** power
    middle = random.uniform(0.5, 1.0, count)[:, None, None]
    width = random.uniform(0.06, 0.25, count)[:, None, None]
    rounded_step = -amount * fade * expit((RADII - middle) / width)
    kind = random.choice(4, count, p=RIM_SHARES)[:, None, None]
    conditions = [kind == 0, kind == 1, kind == 2]
    return np.select(conditions, [from_onset, _pupil_overlap(openings, random), rounded_step], 0.0)


def _pupil_overlap(openings, random):
    """log2 of the share of the pupil's disc that a displaced rim of radius `rim` leaves open."""
    count = len(openings)
    rim = random.uniform(0.95, 1.6, count)[:, None, None]
    power = np.where(random.random(count) < 0.4, 1.0, random.uniform(1, 2.5, count))[:, None, None]
    shift = np.maximum(random.uniform(0.1, 1.5, count)[:, None, None] * RADII**power, 1e-6)
    pupil = openings[..., None]
    with np.errstate(invalid="ignore"):
        lens = (
            pupil**2 * np.arccos(np.clip((shift**2 + pupil**2 - rim**2) / (2 * shift * pupil), -1, 1))
            + rim**2 * np.arccos(np.clip((shift**2 + rim**2 - pupil**2) / (2 * shift * rim), -1, 1))
            - 0.5
            * np.sqrt(
                np.maximum(
                    (pupil + rim - shift)
                    * (shift + pupil - rim)
                    * (shift - pupil + rim)
                    * (shift + pupil + rim),
                    0,
                )
            )
        )
    return np.log2(np.clip(lens / (np.pi * pupil**2), 0.1, 1))
