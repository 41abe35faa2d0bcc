"""What may explain that reports differ."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Cause:
    """One candidate explanation.

    factor: "cut_on", "filter_position", "focal", "body", "copy" or "method". posterior: probability that it
    splits the reports; odds: against nothing doing so. effect_stops: how much later (positive) or earlier
    the limit comes in group_a than in group_b.
    """

    factor: str
    posterior: float
    odds: float
    effect_stops: float
    group_a: str
    group_b: str


def causes_of(lens, reports, priors, visible_ev) -> tuple[Cause, ...]:
    return ()
