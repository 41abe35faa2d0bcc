"""What a perfect measurement would find, computed from the fields of light themselves.

The definition: excess is log2 of the mean luminance over the mean baseline luminance in a disc of radius
0.03 half-diagonals at the patch's centre; the peak is the largest azimuthal-mean excess; the radius is the
outermost at which the azimuthal mean is half its peak.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

DISC_RADIUS = 0.03
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709

_RINGS, _SPOKES = 72, 37  # a prime number of spokes meets every iris at many phases
_DISC_RINGS = 8


@dataclass(frozen=True)
class Truth:
    """A frame's true hotspot: excess, peak and tints in EV, radius and centre in half-diagonals.

    Without a patch all are zero.
    """

    excess_ev: float = 0.0
    peak_ev: float = 0.0
    radius: float = 0.0
    centre: tuple[float, float] = (0.0, 0.0)
    tint_rg: float = 0.0
    tint_bg: float = 0.0


def sampling_points(reach: float) -> tuple[np.ndarray, np.ndarray]:
    """Radii of the sampled circles round a patch: the disc's equal-area rings, then even steps to `reach`."""
    disc = DISC_RADIUS * np.sqrt((np.arange(_DISC_RINGS) + 0.5) / _DISC_RINGS)
    rings = np.linspace(0.0, reach, _RINGS)
    angles = (np.arange(_SPOKES) + 0.5) * 2 * np.pi / _SPOKES
    return np.concatenate([disc, rings])[:, None], angles[None, :]


def truth_from(
    without: np.ndarray, with_patch: np.ndarray, inside: np.ndarray, reach: float, centre: tuple[float, float]
) -> Truth:
    """The truth from noiseless linear R, G, B on the sampling points.

    without, with_patch: arrays (circles, spokes, 3); inside: (circles, spokes), true where the frame reaches.
    """
    clean = without[:_DISC_RINGS].mean(axis=(0, 1))
    hot = with_patch[:_DISC_RINGS].mean(axis=(0, 1))
    red, green, blue = np.log2(hot / clean)
    excess = np.log2((hot @ LUMINANCE) / (clean @ LUMINANCE))

    seen = inside[_DISC_RINGS:, :, None]
    ratio = ((with_patch[_DISC_RINGS:] * seen).sum(axis=1) @ LUMINANCE) / np.maximum(
        (without[_DISC_RINGS:] * seen).sum(axis=1) @ LUMINANCE, 1e-12
    )
    whole = inside[_DISC_RINGS:].mean(axis=1) > 0.25
    profile = np.where(whole, np.log2(np.maximum(ratio, 1e-12)), -np.inf)
    return Truth(
        excess_ev=float(excess),
        peak_ev=float(profile.max()),
        radius=_half_radius(profile, np.linspace(0.0, reach, _RINGS)),
        centre=centre,
        tint_rg=float(red - green),
        tint_bg=float(blue - green),
    )


def _half_radius(profile: np.ndarray, radii: np.ndarray) -> float:
    half = profile.max() / 2
    if half <= 0:
        return 0.0
    last = int(np.flatnonzero(profile >= half)[-1])
    if last + 1 >= len(radii) or not np.isfinite(profile[last + 1]):
        return float(radii[last])
    above, below = profile[last], profile[last + 1]
    return float(radii[last] + (radii[last + 1] - radii[last]) * (above - half) / (above - below))
