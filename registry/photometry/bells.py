"""Could a broad bell hide in a frame? A direct test, beside the averages of the posterior.

Falloff can take up most of a broad soft patch, and an average over thousands of falloffs and faint patches then
outvotes the one patch that is there. So bells of set strengths are put in by force: where one of them explains
the frame about as well as everything else together, it isn't refuted, and no honest interval leaves it out.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from registry.photometry.patches import NODES
from registry.photometry.posterior import Reduced, log_sum

BELL_RADII = np.array([0.2, 0.25, 0.3])
BELL_STRENGTHS_EV = (0.1, 0.15)
"""What matters is whether a frame called clean may show what readers see: about the default threshold and beyond."""

LEAST_LOG_RATIO = -1.5
"""A bell is refuted when everything together explains the frame better by more than this. Chosen on 991 frames of
foreign shapes and falloffs, where it left no patch of .15 EV or more called clean."""

_BELLS = np.exp(-np.log(2) * (NODES[:, None] / BELL_RADII) ** 2)


def hidden_bell(by_kind: Sequence[Reduced], log_evidence: float) -> float:
    """Strength in EV of the strongest bell that isn't refuted, 0 if all are.

    by_kind: all baselines, without patch. log_evidence: of the frame under everything that the posterior holds.
    """
    exponents = [_exponents(reduced) for reduced in by_kind]
    for strength in reversed(BELL_STRENGTHS_EV):
        gained = np.concatenate(
            [base + strength * linear - strength**2 / 2 * square for base, linear, square in exponents],
            axis=1,
        )
        if max(map(log_sum, gained)) > log_evidence + LEAST_LOG_RATIO:
            return strength
    return 0.0


def _exponents(reduced):
    """Log evidence of each baseline with a bell of strength s is base + s·linear − s²/2·square."""
    square = np.einsum("ij,ij->j", _BELLS, reduced.precision @ _BELLS)
    return reduced.log_evidence, _BELLS.T @ reduced.right, square[:, None]
