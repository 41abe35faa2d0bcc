"""The slope of a camera's tone curve, from frames of one set-up and stop that differ in exposure only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from registry.errors import InvalidInput, Problem
from registry.optics.linear_image import LinearImage
from registry.photometry.grid import to_working_size

SETTING_ERROR_EV = 0.04
"""Shutters keep their marked times to within some hundredths of a stop (common practice, no source)."""

SMALLEST_STEP_EV = 0.3


@dataclass(frozen=True, eq=False)
class BracketFrame:
    """One frame of a bracket. exposure_ev: exposure in EV; only differences matter, more is brighter."""

    image: LinearImage
    exposure_ev: float


def tone_slope(frames: Sequence[BracketFrame]) -> tuple[float, float]:
    """Local slope d log2(value) / d log2(light) and its standard error.

    frames: at least two of one set-up and stop. Every pixel's rise in log2 luminance between neighbouring
    exposures is compared with the rise in exposure; the middle of the frame counts, where the patch is. With n
    steps the slope is the mean of the steps' slopes weighted by their size.
    Raises InvalidInput when the exposures don't differ by at least 0.3 EV.
    """
    ordered = sorted(frames, key=lambda frame: frame.exposure_ev)
    exposures = np.array([frame.exposure_ev for frame in ordered], dtype=float)
    if len(ordered) < 2 or not exposures[-1] - exposures[0] >= SMALLEST_STEP_EV:
        raise InvalidInput(
            Problem(
                code="no-bracket",
                field="exposure_ev",
                value=exposures.tolist(),
                says=f"The exposures {', '.join(f'{value:+.2f}' for value in exposures)} EV are no bracket.",
                remedy="Send two or more frames of one stop whose exposures differ by about 1 EV.",
            )
        )
    levels = np.array([_central_level(frame.image) for frame in ordered])
    centred = exposures - exposures.mean()
    slope = float(centred @ levels / (centred @ centred))
    residual = levels - levels.mean() - slope * centred
    scatter = np.sqrt(residual @ residual / (len(levels) - 2)) if len(levels) > 2 else 0.0
    se = np.hypot(scatter, SETTING_ERROR_EV) / np.sqrt(centred @ centred)
    return slope, float(se)


def _central_level(image):
    """Median log2 luminance of the middle third of the frame."""
    pixels = to_working_size(np.asarray(image.pixels, dtype=float))
    height, width = pixels.shape[:2]
    middle = pixels[height // 3 : -(height // 3), width // 3 : -(width // 3)]
    return float(np.median(np.log2(np.maximum(middle @ [0.2126, 0.7152, 0.0722], 1e-6))))
