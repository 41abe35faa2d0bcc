"""Stray light: the hotspot's shapes as fields of added light, and its change with aperture and wavelength.

A hotspot is light that arrives besides the image, so it adds; it does not multiply what the target reflects.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.fft import irfft2, rfft2
from scipy.ndimage import fourier_gaussian, map_coordinates
from scipy.special import ndtr

from registry.simulation.scene import STRONGEST_EV, Ghost, Patch

_STEP = np.linspace(-5.0, 5.0, 2001)
_SOFT_STEP = ndtr(_STEP)
_IRIS_CELLS = 256


@dataclass(frozen=True)
class PatchNow:
    """A patch at one f-number and cut-on: excess and tint in EV, radius and edge in half-diagonals."""

    strength_ev: float
    tint_rg: float
    tint_bg: float
    radius: float
    edge: float
    exponent: float


def patch_at(patch: Patch, f_number: float, cut_on_nm: float) -> PatchNow:
    """Follow a patch from its reference f-number to f_number and to the effective cut-on."""
    closed = f_number / patch.reference_f_number
    nm, factors = np.array(patch.by_cut_on, dtype=float).T
    factor = closed**patch.growth * float(np.interp(cut_on_nm, nm, factors))
    strength = min(patch.strength_ev * factor, STRONGEST_EV)
    radius = patch.radius * closed**-patch.shrink
    edge = radius * float(np.clip(patch.edge * closed**-patch.hardening, 0.02, 1.0))
    return PatchNow(
        strength_ev=strength,
        tint_rg=patch.tint_rg * factor,
        tint_bg=patch.tint_bg * factor,
        radius=radius,
        edge=edge,
        exponent=float(np.clip(2.0 * closed**patch.hardening, 1.4, 8.0)),
    )


def _soft_step(distance: np.ndarray, width: float) -> np.ndarray:
    """1 well inside an edge (distance > 0), 0 well outside: a straight edge blurred by `width`."""
    return np.interp(distance / width, _STEP, _SOFT_STEP)


def _disc(distance: np.ndarray, radius: float, edge: float) -> np.ndarray:
    return _soft_step(radius - distance, edge) / ndtr(radius / edge)


def _bump(distance: np.ndarray, radius: float, exponent: float) -> np.ndarray:
    return np.exp2(-((distance / radius) ** exponent))


@lru_cache(maxsize=128)
def _iris(blades: int, edge: float) -> tuple[np.ndarray, float]:
    """A regular polygon with the area of the unit circle, blurred by `edge`, 1 at its centre.

    Returns a square table and its half-side in radii. A side faces the positive x axis.
    """
    reach = 1.35 + 4 * edge
    side = ((np.arange(_IRIS_CELLS) + 0.5) / _IRIS_CELLS * 2 - 1) * reach
    apothem = np.sqrt(np.pi / (blades * np.tan(np.pi / blades)))
    facing = 2 * np.pi * np.arange(blades) / blades
    depth = apothem - np.max(
        [side[None] * np.cos(turn) + side[:, None] * np.sin(turn) for turn in facing], axis=0
    )
    cell = 2 * reach / _IRIS_CELLS
    sharp = np.clip(depth / cell + 0.5, 0, 1)
    soft = irfft2(fourier_gaussian(rfft2(sharp), edge / cell, n=_IRIS_CELLS), s=sharp.shape)
    middle = slice(_IRIS_CELLS // 2 - 1, _IRIS_CELLS // 2 + 1)
    return np.maximum(soft / soft[middle, middle].mean(), 0), reach


def _polygon(dx: np.ndarray, dy: np.ndarray, patch: Patch, now: PatchNow) -> np.ndarray:
    """Defocused image of an iris of straight blades, as large in area as the disc of the same radius."""
    table, reach = _iris(patch.blades, round(now.edge / now.radius, 3))
    turn = np.radians(patch.rotation_deg)
    across = (dx * np.cos(turn) + dy * np.sin(turn)) / now.radius
    down = (dy * np.cos(turn) - dx * np.sin(turn)) / now.radius
    cells = [((axis / reach + 1) * _IRIS_CELLS - 1) / 2 for axis in (down, across)]
    return map_coordinates(table, cells, order=1, mode="constant")


def patch_shape(patch: Patch, now: PatchNow, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Added light at x, y (half-diagonals, broadcastable), about 1 at its centre (a ring: at its rim)."""
    dx, dy = x - patch.centre[0], y - patch.centre[1]
    if patch.shape == "polygon":
        return _polygon(dx, dy, patch, now)
    distance = np.hypot(dx, dy)
    if patch.shape == "disc":
        return _disc(distance, now.radius, now.edge)
    if patch.shape == "ring":
        hollow = _disc(distance, now.radius * patch.ring_inner, now.edge)
        return _disc(distance, now.radius, now.edge) - (1 - patch.ring_fill) * hollow
    core = _bump(distance, now.radius, now.exponent)
    if patch.shape == "skirted":
        skirt = _bump(distance, now.radius * patch.skirt_reach, 2.0)
        return (1 - patch.skirt_share) * core + patch.skirt_share * skirt
    return core


def ghost_light(ghosts: tuple[Ghost, ...], x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Light added by ghosts at x, y, in units of the image's light on axis."""
    shape = np.broadcast_shapes(np.shape(x), np.shape(y))
    light = np.zeros(shape)
    for ghost in ghosts:
        distance = np.hypot(x - ghost.centre[0], y - ghost.centre[1])
        light += (2.0**ghost.strength_ev - 1) * _disc(distance, ghost.radius, ghost.edge * ghost.radius)
    return light
