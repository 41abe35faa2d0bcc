"""From a reading or a claim to the chance that the lens was clean there, and to a likelihood of its limit."""

from __future__ import annotations

import numpy as np
from scipy.special import expit, logit, ndtr

from registry.consensus.constants import (
    CLEAN_ALL,
    CLEAN_ALL_REACH_AV,
    CLEAN_CLAIM_EV,
    CLEAN_TO,
    GRADE_BLUR_EV,
    GRADE_CLEAN,
    GRADE_CLIP,
    GRADE_EV,
    HOT_ALL,
    HOT_CLAIM_EV,
    HOT_FROM,
    LADDER_CLEARANCE_AV,
    READING_CLIP,
    READING_FLOOR_EV,
    SAME_STOP_AV,
    UNSTATED_SE_EV,
    VISIBLE_EV,
)
from registry.consensus.evidence import Claim, Lens
from registry.consensus.grid import GRID_POINTS, first_bin
from registry.optics.stops import FULL_STOPS, exact_av


def chances_from_ev(ev: np.ndarray, ev_se: np.ndarray, visible_ev: float = VISIBLE_EV) -> np.ndarray:
    """P(excess below the threshold) of measured excesses: Φ((T − x)/√(u² + floor²)), clipped.

    ev, ev_se: EV, one shape; NaN in ev_se stands for "not stated".
    """
    known = np.where(np.isnan(ev_se), UNSTATED_SE_EV, ev_se)
    return np.clip(ndtr((visible_ev - ev) / np.hypot(known, READING_FLOOR_EV)), *READING_CLIP)


def chances_from_grades(visible_ev: float = VISIBLE_EV) -> np.ndarray:
    """P(clean) of the eye grades 0 to 4, shape (5,), for a reader's threshold (EV)."""
    pairs = zip(GRADE_CLEAN, GRADE_EV, strict=True)
    return np.array([moved_chance(chance, bounds, visible_ev) for chance, bounds in pairs])


def moved_chance(chance: float, bounds: tuple[float, float], visible_ev: float) -> float:
    """Move a chance that holds at the default threshold to another one.

    The statement stands for an excess within bounds (EV), blurred. What is known beyond that at the default
    (log odds of the chance against this interval's) fades by half with every octave of the threshold. The
    result is the chance as stated at the default, and never falls with the threshold.
    """
    if visible_ev == VISIBLE_EV:
        return chance
    known_better = logit(chance) - logit(_share_below(bounds, VISIBLE_EV))
    fading = 0.5 ** abs(np.log2(visible_ev / VISIBLE_EV))
    moved = float(expit(logit(_share_below(bounds, visible_ev)) + known_better * fading))
    moved = max(moved, chance) if visible_ev > VISIBLE_EV else min(moved, chance)
    return float(np.clip(moved, *GRADE_CLIP))


def _share_below(bounds: tuple[float, float], threshold: float) -> float:
    """Share of a uniform excess within bounds, blurred by GRADE_BLUR_EV, that lies below a threshold."""
    low, high = ((threshold - bound) / GRADE_BLUR_EV for bound in bounds)

    def integral(z: float) -> float:  # of Φ
        return z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)

    return float(np.clip((integral(low) - integral(high)) / (low - high), *GRADE_CLIP))


def claim_steps(claim: Claim, lens: Lens, visible_ev: float = VISIBLE_EV) -> list[tuple[float, float]]:
    """(Av, P(clean)) that a claim amounts to; none for "mixed" and "nothing_found"."""
    widest, narrowest = exact_av(lens.widest), exact_av(lens.narrowest)
    if claim.says == "clean_to":
        av = exact_av(claim.f_number)
        steps = [(av, CLEAN_TO[0], CLEAN_CLAIM_EV), (av + 1, CLEAN_TO[1], HOT_CLAIM_EV)]
    elif claim.says == "hot_from":
        av = exact_av(claim.f_number)
        steps = [(av - 1, HOT_FROM[1], CLEAN_CLAIM_EV), (av, HOT_FROM[0], HOT_CLAIM_EV)]
    elif claim.says == "clean_all":
        steps = [(max(widest, min(narrowest, CLEAN_ALL_REACH_AV)), CLEAN_ALL, CLEAN_CLAIM_EV)]
    elif claim.says == "hot_all":
        steps = [(widest, HOT_ALL, HOT_CLAIM_EV)]
    else:
        steps = []
    # A lens has no stop beyond its ends for anyone to have seen anything at.
    seen = [
        step
        for step in steps
        if len(steps) == 1 or widest - SAME_STOP_AV <= step[0] <= narrowest + SAME_STOP_AV
    ]
    return [(av, moved_chance(chance, bounds, visible_ev)) for av, chance, bounds in seen]


def claimed_stops(claim: Claim, lens: Lens) -> list[float]:
    """Avs of the full stops, and of the claim's own, that a claim speaks of: the stops it tests."""
    widest, narrowest = exact_av(lens.widest), exact_av(lens.narrowest)
    own = exact_av(claim.f_number) if claim.f_number is not None else None
    reach = {
        "clean_to": lambda: min(own + 1, narrowest),
        "hot_from": lambda: own,
        "clean_all": lambda: min(narrowest, CLEAN_ALL_REACH_AV),
        "hot_all": lambda: narrowest,
    }
    if claim.says not in reach:
        return []
    last = reach[claim.says]()
    first, beyond = widest + LADDER_CLEARANCE_AV, narrowest - LADDER_CLEARANCE_AV
    inner = [float(stop.av) for stop in FULL_STOPS if first < float(stop.av) < beyond]
    ends = [widest, narrowest, *([own] if own is not None else [])]
    return [av for av in sorted({*inner, *ends}) if av <= last + 1e-9]


def log_likelihoods(report: np.ndarray, av: np.ndarray, odds: np.ndarray, count: int) -> np.ndarray:
    """log h(y) of reports on the grid, shape (count, GRID_POINTS).

    h(y) = Π over readings of (p if y ≥ Av else 1 − p). report: index of each reading's report;
    av: its aperture value; odds: log(p / (1 − p)). A report without readings gets zeros: it says nothing.
    """
    width = GRID_POINTS + 1
    steps = np.bincount(report * width + first_bin(av), weights=odds, minlength=count * width)
    start = np.bincount(report, weights=log_expit(-odds), minlength=count)
    return start[:, None] + np.cumsum(steps.reshape(count, width)[:, :-1], axis=1)


def log_expit(x: np.ndarray) -> np.ndarray:
    """log(1 / (1 + e^−x)), stable."""
    return -np.logaddexp(0.0, -x)
