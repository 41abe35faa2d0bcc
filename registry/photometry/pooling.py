"""A sweep's result and the single frames' results, joined; neither silences the other.

A sweep knows more of broad patches; a single frame doesn't depend on how patches change with the aperture. They
are averaged by inverse variance, and half the variance of their disagreement is added. Where single frames that
judge themselves agree with one another against the sweep, they stand: a lens may be hot at every stop.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from registry.photometry.fitting import FrameFit
from registry.photometry.measurement import MEASURED, UNCERTAIN, Measurement
from registry.photometry.reading import (
    BEYOND_SWEEP,
    NORMAL_95,
    UNCERTAIN_SE,
    UNCERTAIN_SHARE,
    with_note_on_breadth,
)

SWEEP_SE = 0.006
WIDEST_SE = 0.010
"""What a sweep's posterior doesn't know of, in EV; more for the two widest stops, where vignetting changes most."""

OVERRULED_NOTE = "The single frames agree with each other against the sweep; their results are kept."
FEWEST_AGAINST = 3
DISAGREEMENT = 2.5

CONTRADICTED_NOTE = "The sweep and the frame by itself contradict each other; the interval spans both."
CONTRADICTION = 3.0
LEAST_CONTRADICTION_EV = 0.06
"""Beyond so many standard errors, and so many EV, no average of the two is worth more than either."""

DOUBT = 0.3
SINGLE_BREADTH = (0.15, 0.35)
SWEEP_BREADTH = (0.2, 0.4)
"""Falloff passes for a broad patch: a single frame's result is doubted from the first radius (half-diagonals) on,
by DOUBT of the excess at the second; a sweep's by the radius at its narrowest aperture."""


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
    by_stop = list(stops.values())
    members = [index for indices in by_stop for index in indices]
    unsure_sweep = _doubt(sweep[by_stop[-1][0]].radius, SWEEP_BREADTH)
    pairs = {}
    for index in members:
        excess = max(sweep[index].ev, singles[index].ev)
        widest = WIDEST_SE if index in (*by_stop[0], *by_stop[1]) else 0.0
        pairs[index] = _Pair(
            sweep[index],
            singles[index],
            sweep[index].ev_se ** 2 + SWEEP_SE**2 + widest**2 + (unsure_sweep * excess) ** 2,
            singles[index].ev_se ** 2 + (_doubt(sweep[index].radius, SINGLE_BREADTH) * excess) ** 2,
        )
    whitewashed = sum(pair.single_is_surely_more for pair in pairs.values())
    results = list(sweep)
    for index, pair in pairs.items():
        results[index] = pair.joined()
        if whitewashed >= max(FEWEST_AGAINST, len(members) / 3):
            results[index] = replace(pair.single, notes=(*pair.single.notes, OVERRULED_NOTE))
    return results


def _doubt(radius: float, breadth: tuple[float, float]) -> float:
    """Standard error, as a share of the excess, by which falloff may pass for a patch as broad as this."""
    return DOUBT * float(np.clip((radius - breadth[0]) / (breadth[1] - breadth[0]), 0, 1.5))


@dataclass(frozen=True)
class _Pair:
    """One frame's two results with the variances to weigh them by."""

    sweep: Measurement
    single: Measurement
    sweep_variance: float
    single_variance: float

    @property
    def single_is_surely_more(self) -> bool:
        surplus = self.single.ev - self.sweep.ev
        return self.single.status == MEASURED and surplus > DISAGREEMENT * np.sqrt(
            self.sweep_variance + self.single_variance
        )

    @property
    def contradiction(self) -> bool:
        """Each is sure of itself, and they can't both be right."""
        difference = abs(self.sweep.ev - self.single.ev)
        return difference > max(
            LEAST_CONTRADICTION_EV, CONTRADICTION * float(np.hypot(self.sweep.ev_se, self.single.ev_se))
        )

    def joined(self) -> Measurement:
        share = self.single_variance / (self.sweep_variance + self.single_variance)
        ev = share * self.sweep.ev + (1 - share) * self.single.ev
        disagreement = share * (1 - share) * (self.sweep.ev - self.single.ev) ** 2
        se = float(np.sqrt(1 / (1 / self.sweep_variance + 1 / self.single_variance) + disagreement / 2))
        if self.contradiction:
            return replace(
                self.sweep,
                status=UNCERTAIN,
                ev=ev,
                ev_se=max(se, abs(self.sweep.ev - self.single.ev) / 2),
                ev_low=min(self.sweep.ev_low, self.single.ev_low),
                ev_high=max(self.sweep.ev_high, self.single.ev_high),
                notes=(*self.sweep.notes, CONTRADICTED_NOTE),
            )
        joined = replace(
            self.sweep,
            status=UNCERTAIN if se > UNCERTAIN_SE + UNCERTAIN_SHARE * ev else MEASURED,
            ev=ev,
            ev_se=se,
            ev_low=max(ev - NORMAL_95 * se, 0.0),
            ev_high=ev + NORMAL_95 * se,
        )
        return with_note_on_breadth(joined, BEYOND_SWEEP)
