"""How a lens without a hotspot darkens towards the corners: natural falloff, vignetting by a rim, a profile.

Everything here depends on the distance from the optical axis alone, so it is tabulated once along the radius
and looked up for each pixel.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from registry.simulation.scene import Scene

_RADII = np.linspace(0.0, 1.6, 385)
_PROFILE_RANGE = _RADII <= 1.0
_GRAZING = np.radians(89.5)
_CIRCLE_EDGE = 0.01
_nodes, _weights = np.polynomial.legendre.leggauss(64)
_STRIP_ANGLES, _STRIP_WEIGHTS = _nodes * np.pi / 2, _weights * np.pi / 2


def field_angle(scene: Scene, radius: np.ndarray) -> np.ndarray:
    """Angle θ to the axis, radians, of the light that falls at `radius` half-diagonals, at infinity focus."""
    ratio = np.asarray(radius, dtype=float) * scene.half_diagonal_mm / scene.focal_length_mm
    angle = ratio if scene.projection == "fisheye" else np.arctan(ratio)
    return np.minimum(angle, _GRAZING)


def natural_falloff(scene: Scene, radius: np.ndarray) -> np.ndarray:
    """Illuminance over that on axis, from geometry alone.

    A pupil of area A(θ) sends dΦ = L A cos θ · sin θ dθ dφ onto r dr dφ. With r = f tan θ this is the cos⁴
    law; with r = f θ it is cos θ · sin θ / θ. The growing pupil adds cos^−pupil_growth θ.
    """
    angle = field_angle(scene, radius)
    if scene.projection == "fisheye":
        law = np.cos(angle) * np.sinc(angle / np.pi)
    else:
        law = np.cos(np.arctan(scene.telecentric_factor * np.tan(angle))) ** 4
    return law * np.cos(angle) ** -scene.pupil_growth


def open_share(pupil: float, rim: float, shift: np.ndarray) -> np.ndarray:
    """Share of a pupil that stays open between two rims whose images have moved to either side by `shift`.

    pupil, rim: radii, rim not the smaller; shift: array, same unit. The open area is that common to three
    circles, summed over strips h along which its half-width is min(√(a² − h²), √(b² − h²) − s).
    """
    height, width = pupil * np.sin(_STRIP_ANGLES), pupil * np.cos(_STRIP_ANGLES)
    between = np.sqrt(rim**2 - height**2) - np.asarray(shift, dtype=float)[..., None]
    half_width = np.clip(between, 0.0, width)
    return (half_width * width * _STRIP_WEIGHTS).sum(axis=-1) * 2 / (np.pi * pupil**2)


@lru_cache(maxsize=512)
def _rims(vignetting_ev: float, onset: float, power: float) -> tuple[float, float]:
    """Radius of the rims' images and their shift at the corner, in radii of the widest pupil.

    Chosen so that wide open the rims first touch the pupil at `onset` and the corner loses vignetting_ev.
    """

    def surplus(shift: float) -> float:
        rim = 1.0 + shift * onset**power
        return float(open_share(1.0, rim, np.array(shift))) - 2.0**-vignetting_ev

    shift = brentq(surplus, 0.0, 1.0 / (1.0 - onset**power))
    return 1.0 + shift * onset**power, shift


def rim_vignetting(scene: Scene, f_number: float, radius: np.ndarray) -> np.ndarray:
    """Share of the pupil that the lens's front and rear rims leave open at `radius` half-diagonals.

    Seen from off the axis the front rim's image moves to one side of the pupil and the rear rim's to the
    other, so the opening narrows to a cat's eye; the smaller pupil of a closed aperture fits between them.
    """
    if scene.vignetting_ev <= 0:
        return np.ones_like(np.asarray(radius, dtype=float))
    rim, shift = _rims(scene.vignetting_ev, scene.vignetting_onset, scene.vignetting_power)
    pupil = min(scene.widest / f_number, 1.0)
    return open_share(pupil, rim, shift * np.asarray(radius, dtype=float) ** scene.vignetting_power)


def _profile_gain(scene: Scene, f_number: float) -> np.ndarray:
    """Gain of the lens profile on _RADII: the polynomial in r² nearest to 1 / falloff at this aperture, in part."""
    raw = natural_falloff(scene, _RADII) * rim_vignetting(scene, f_number, _RADII)
    inside = _RADII[_PROFILE_RANGE] ** 2
    fit = np.polynomial.Polynomial.fit(inside, 1.0 / np.maximum(raw[_PROFILE_RANGE], 1e-3), 3)
    gain = fit(np.minimum(_RADII, 1.0) ** 2) / fit(0.0)
    return np.maximum(gain, 1e-3) ** scene.profile_correction


@lru_cache(maxsize=64)
def _table(scene: Scene, f_number: float) -> np.ndarray:
    light = natural_falloff(scene, _RADII) * rim_vignetting(scene, f_number, _RADII)
    if scene.profile_correction:
        light = light * _profile_gain(scene, f_number)
    if scene.image_circle_mm is not None:
        light = light * ndtr((image_circle_radius(scene) - _RADII) / _CIRCLE_EDGE)
    return np.maximum(light, 1e-6)


def image_circle_radius(scene: Scene) -> float:
    """Radius of the image circle in half-diagonals of the frame; infinite where it has no edge."""
    if scene.image_circle_mm is None:
        return np.inf
    return scene.image_circle_mm / 2 / scene.half_diagonal_mm


def falloff(scene: Scene, f_number: float, radius: np.ndarray) -> np.ndarray:
    """Illuminance over that on axis at `radius` half-diagonals from the axis, same shape back."""
    return np.interp(radius, _RADII, _table(scene, f_number))
