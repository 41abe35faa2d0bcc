"""A sweep's result and the single frames' results, joined; neither silences the other.

A sweep knows more of broad patches; a single frame doesn't depend on how patches change with the aperture. They
are averaged by inverse variance, and the variance of their disagreement is added, so that two that contradict
each other leave the frame open. Then the stops are held to the order that hotspots keep: none grows weaker as the
aperture closes (common practice, no source); how far a stop had to move for it widens its interval.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import isotonic_regression

from registry.photometry.fitting import FrameFit
from registry.photometry.measurement import MEASURED, UNCERTAIN, Measurement
from registry.photometry.reading import BEYOND_SWEEP, NORMAL_95, with_note_on_breadth

SWEEP_SE, SWEEP_SHARE = 0.03, 0.10
"""What a sweep's posterior doesn't know of, in EV and as a share of the excess: samples of falloff and patch are
thin where several apertures must fit at once. Chosen on 50 sweeps of four families of lenses."""

UNCERTAIN_SE, UNCERTAIN_SHARE = 0.035, 0.03
"""Beyond the sum of these a joined result is left open: EV, and share of the excess."""

MOVED_SHARE = 0.5
"""Share of the squared move to the stops' order that is added to the variance."""


def repeat_offset(measured: Measurement, difference: np.ndarray, fit: FrameFit) -> Measurement:
    """Shift a stop's result by how one repeat differs from the stop's mean.

    difference: the repeat's field less the mean's; smooth light cancels, so disc against annulus suffices.
    """
    grid, (x, y) = fit.columns.grid, fit.centre
    distance = np.hypot(grid.x - x, grid.y - y)
    radius = max(measured.radius or 0.1, 0.06)
    inner, outer = distance < 0.6 * radius, (distance > 1.5 * radius) & (distance < 2.5 * radius)
    if inner.sum() < 3 or outer.sum() < 3:
        return measured
    plain = difference / fit.columns.root_weight
    shift = float(plain[inner].mean() - plain[outer].mean())
    se = fit.frame.noise * float(np.sqrt(1 / inner.sum() + 1 / outer.sum()))
    shift *= measured.probability_of_patch
    return replace(
        measured,
        ev=max(measured.ev + shift, 0.0),
        ev_se=float(np.hypot(measured.ev_se, se)),
        ev_low=max(measured.ev_low + shift - se, 0.0),
        ev_high=max(measured.ev_high + shift + se, 0.0),
    )


def pooled(
    sweep: Sequence[Measurement], singles: Sequence[Measurement], stops: Mapping[float, Sequence[int]]
) -> list[Measurement]:
    """Join each frame's two results. stops: indices of the sweep's frames by aperture, widest first."""
    joined = {index: _joined(sweep[index], singles[index]) for indices in stops.values() for index in indices}
    results = list(sweep)
    for indices, move in zip(stops.values(), _moves(joined, stops), strict=True):
        for index in indices:
            ev, variance = joined[index]
            results[index] = _stated(sweep[index], ev + move, variance + MOVED_SHARE * move**2)
    return results


def _joined(sweep: Measurement, single: Measurement) -> tuple[float, float]:
    """Excess in EV and its variance."""
    sweep_variance = sweep.ev_se**2 + SWEEP_SE**2 + (SWEEP_SHARE * sweep.ev) ** 2
    share = single.ev_se**2 / (sweep_variance + single.ev_se**2)
    disagreement = share * (1 - share) * (sweep.ev - single.ev) ** 2
    return share * sweep.ev + (1 - share) * single.ev, share * sweep_variance + disagreement


def _moves(joined: Mapping[int, tuple[float, float]], stops: Mapping[float, Sequence[int]]) -> np.ndarray:
    """By how much each stop's excess must change so that none is below that of a wider one, least squares."""
    means, variances = np.array(
        [np.mean([joined[index] for index in indices], axis=0) for indices in stops.values()]
    ).T
    return isotonic_regression(means, weights=1 / variances).x - means


def _stated(sweep: Measurement, ev: float, variance: float) -> Measurement:
    ev, se = max(ev, 0.0), float(np.sqrt(variance))
    stated = replace(
        sweep,
        status=UNCERTAIN if se > UNCERTAIN_SE + UNCERTAIN_SHARE * ev else MEASURED,
        ev=float(ev),
        ev_se=se,
        ev_low=max(float(ev - NORMAL_95 * se), 0.0),
        ev_high=float(ev + NORMAL_95 * se),
    )
    return with_note_on_breadth(stated, BEYOND_SWEEP)
