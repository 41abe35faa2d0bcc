"""Repeatability: how far repeated frames of one stop differ."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from registry.errors import InvalidInput, Problem
from registry.photometry.measurement import Measurement


def repeatability(measurements: Iterable[Sequence[Measurement]]) -> float:
    """Standard deviation in EV of repeats at one stop, pooled over stops.

    measurements: one sequence for each stop, of its repeats; rejected frames and stops without a repeat don't
    count. s² = Σ (x − mean)² / Σ (n − 1) (the pooled variance of ISO 5725-2's repeatability).
    Raises InvalidInput when no stop has two usable frames.
    """
    squares, freedom = 0.0, 0
    for repeats in measurements:
        values = np.array([item.ev for item in repeats if item.ev is not None])
        if len(values) > 1:
            squares += float(((values - values.mean()) ** 2).sum())
            freedom += len(values) - 1
    if not freedom:
        raise InvalidInput(
            Problem(
                code="no-repeats",
                field="measurements",
                value=0,
                says="No stop has two frames that could be measured.",
                remedy="Photograph the target at least twice at one stop without touching anything.",
            )
        )
    return float(np.sqrt(squares / freedom))
