"""Which frames can't be judged, each with its number, its limit and a sentence that helps.

A plain target is smooth: what is left after fitting smooth light and one round patch must be small. Limits were
set on simulated targets and on natural pictures, whole, cropped and blurred (tests/photometry/test_gates.py).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from registry.optics.linear_image import LinearImage
from registry.photometry.measurement import Refusal
from registry.photometry.patches import FURTHEST

MOST_CLIPPED = 0.002
LEAST_LEVEL = 48.0
MOST_NOISE = 0.012
MOST_TILT = 0.33
MOST_RESIDUAL = 0.005
NOISE_ALLOWANCE = 1.1
MOST_BROAD = 0.013
MOST_UNEVENNESS = 1.25
SMALLEST_SIDE = 16
LAMP_STRENGTH_EV = 0.20
"""From this strength on, what the search finds at its very edge is no hotspot but a lamp's own patch of light."""

BY_EYE = "or grade this frame by eye."


@dataclass(frozen=True)
class FitQuality:
    """What the fit needed and what it left over.

    residual: root mean square over the frame in EV. outside: the same outside the patch. tilt: slope of the
    light in EV per half-diagonal. broad: root mean square in EV of broad structure that is neither tilt nor
    centred falloff. unevenness: all such structure and decentring, over what prior experience allows (root mean
    square of coefficients over their prior standard deviations). strength: of the patch. offset: the larger of its
    centre's coordinates, in half-diagonals. noise: of a pixel.
    """

    residual: float
    outside: float
    tilt: float
    broad: float
    unevenness: float
    strength: float
    offset: float
    noise: float


def refuse_image(image: LinearImage) -> Refusal | None:
    """Refuse what no fit could mend: too small, clipped or too dark."""
    height, width = image.pixels.shape[:2]
    if min(height, width) < SMALLEST_SIDE or not np.isfinite(image.pixels).all():
        return Refusal(
            "unusable-image",
            float(min(height, width)),
            float(SMALLEST_SIDE),
            "pixels",
            f"The frame has {min(height, width)} usable pixels on its short side; {SMALLEST_SIDE} are needed: "
            f"send the whole frame as the camera wrote it, {BY_EYE}",
        )
    if image.clipped > MOST_CLIPPED:
        return Refusal(
            "clipped",
            image.clipped,
            MOST_CLIPPED,
            "share of pixels",
            f"{image.clipped:.1%} of the frame is overexposed ({MOST_CLIPPED:.1%} is the most that can be "
            f"measured): expose one stop less and send it again, {BY_EYE}",
        )
    if image.median_level < LEAST_LEVEL:
        return Refusal(
            "underexposed",
            image.median_level,
            LEAST_LEVEL,
            "8-bit level",
            f"The frame is too dark: its middle level is {image.median_level:.0f} of 255, and at least "
            f"{LEAST_LEVEL:.0f} is needed: expose longer and send it again, {BY_EYE}",
        )
    return None


def refuse_noise(noise: float) -> Refusal | None:
    if noise <= MOST_NOISE:
        return None
    return Refusal(
        "noisy",
        noise,
        MOST_NOISE,
        "EV",
        f"Noise or fine texture of {noise:.3f} EV hides small differences ({MOST_NOISE:.3f} EV is the most): "
        f"use a lower ISO and a smooth target out of focus, {BY_EYE}",
    )


def refuse_fit(quality: FitQuality) -> Refusal | None:
    """Refuse what is lit too unevenly or is no plain target."""
    if quality.tilt > MOST_TILT:
        return Refusal(
            "tilted",
            quality.tilt,
            MOST_TILT,
            "EV per half-diagonal",
            f"The light falls off by {quality.tilt:.2f} EV from the centre to one side ({MOST_TILT:.2f} EV is "
            f"the most): turn the target or the lamp until both sides match, {BY_EYE}",
        )
    strength = min(quality.strength, 1.0)
    noise = NOISE_ALLOWANCE * quality.noise
    checks = (
        ("fine", quality.residual, MOST_RESIDUAL + noise + 0.05 * strength),
        ("fine", quality.outside, MOST_RESIDUAL + noise + 0.015 * strength),
        ("broad", quality.broad, MOST_BROAD),
    )
    for kind, number, limit in checks:
        if number > limit:
            return _not_plain(
                number,
                limit,
                "EV",
                f"{number:.3f} EV of {kind} structure where {limit:.3f} EV is the most",
            )
    if quality.offset >= FURTHEST and quality.strength >= LAMP_STRENGTH_EV:
        return _not_plain(
            quality.offset,
            FURTHEST,
            "half-diagonals",
            f"the brightest part lies {quality.offset:.2f} half-diagonals or more off the centre, as a lamp's "
            f"light does and a hotspot does not (less than {FURTHEST:.2f})",
        )
    if quality.unevenness > MOST_UNEVENNESS:
        number = quality.unevenness
        return _not_plain(
            number,
            MOST_UNEVENNESS,
            "ratio",
            f"light {number:.1f} times as uneven as a plain target may be ({MOST_UNEVENNESS:.1f} is the most)",
        )
    return None


def _not_plain(number, limit, unit, finding):
    says = (
        f"The frame shows more than an evenly lit plain surface, {finding}: photograph a blank surface out of "
        f"focus in even light, {BY_EYE}"
    )
    return Refusal("not-a-plain-target", number, limit, unit, says)
