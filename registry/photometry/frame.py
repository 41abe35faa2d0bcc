"""One frame, measured by itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from registry.optics.linear_image import LinearImage
from registry.photometry import gates
from registry.photometry.baseline import control_kinds, rounded, single_frame_kinds
from registry.photometry.bells import hidden_bell
from registry.photometry.centre import drift_columns
from registry.photometry.falloff import Optics
from registry.photometry.fitting import FrameFit, fit_frame
from registry.photometry.luminance import log_frame
from registry.photometry.measurement import REJECTED, Measurement, Refusal
from registry.photometry.patches import few_patches, single_frame_patches
from registry.photometry.posterior import (
    Terms,
    likeliest,
    patch_posterior,
    without_falloff,
    without_nuisances,
)
from registry.photometry.reading import AGAINST_CONTROL, ALONE, measurement_of, with_note_on_breadth
from registry.photometry.stacking import Stack

MOST_BASELINES = 120
LOG_ODDS_OF_A_PATCH = 4.0
"""Prior log odds that a frame has a patch."""

CENTRE_UNCERTAINTY = 0.01
"""Standard deviation of each coordinate of the found centre, in half-diagonals."""


def measure_frame(
    image: LinearImage,
    *,
    f_number: float | None = None,
    focal_length_mm: float | None = None,
    half_diagonal_mm: float | None = None,
    control: LinearImage | None = None,
) -> Measurement:
    """Measure the hotspot in one frame of an evenly lit plain target.

    f_number, focal_length_mm, half_diagonal_mm (of the sensor) narrow down the falloff that is plausible; each
    may be None. control: a frame of the same set-up without a hotspot (visible light, or a clean lens).
    A frame that can't be judged comes back as rejected, with the reason.
    """
    fit = examine(image, Optics(f_number, focal_length_mm, half_diagonal_mm), control)
    if isinstance(fit, Refusal):
        return Measurement(status=REJECTED, refusal=fit)
    doubt = ALONE if control is None else AGAINST_CONTROL
    return with_note_on_breadth(measurement_of(fit, terms_of(fit), image, doubt=doubt))


def examine(image: LinearImage, optics: Optics, control: LinearImage | None = None) -> FrameFit | Refusal:
    """Fit a frame, or say why it can't be judged."""
    refusal = gates.refuse_image(image)
    if refusal is None and control is not None:
        refusal = gates.refuse_image(control)
    if refusal is not None:
        return refusal
    frame = log_frame(image, control)
    refusal = gates.refuse_noise(frame.noise)
    if refusal is not None:
        return refusal
    kinds = single_frame_kinds(rounded(optics)) if control is None else control_kinds(rounded(optics))
    fit = fit_frame(frame, kinds)
    return gates.refuse_fit(fit.quality) or fit


def terms_of(fit: FrameFit) -> Terms:
    """The posterior of one frame's patch."""
    drift = drift_columns(fit.columns, fit.found.shape)
    stack = Stack(fit.columns, fit.field[None])
    sums = stack.sums(fit.nodes, drift, np.array([[1 / fit.variance]]))
    drift_sd = CENTRE_UNCERTAINTY * max(fit.found.strength, 0.01)
    nuisances = np.diag(np.concatenate([[drift_sd, drift_sd], fit.columns.nuisance_sd]))
    reduced = without_nuisances(sums, nuisances)
    every_kind = without_falloff(reduced, fit.kinds)
    by_kind, log_none = likeliest(every_kind, few_patches(), MOST_BASELINES)
    log_odds = LOG_ODDS_OF_A_PATCH + fit.found.log_odds
    terms = patch_posterior(by_kind, log_none, single_frame_patches(), log_odds)
    return replace(terms, hidden_bell=hidden_bell(every_kind, terms.log_evidence))
