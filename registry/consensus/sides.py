"""What holds on either side of a likely cause: with the filter in front of the lens, and otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from registry.consensus.answers import Question, answer
from registry.consensus.beliefs import DEFAULT_PRIORS, Priors
from registry.consensus.causes import Cause
from registry.consensus.constants import NEVER_CHANCE, SAFE_CHANCE, SAME_STOP_AV, VISIBLE_EV
from registry.consensus.contrasts import OTHER_CUT_ONS
from registry.consensus.evidence import Lens, Report
from registry.consensus.verdicts import Verdict
from registry.optics.stops import exact_av


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a cause. group: the cause's own name of it. p_clean: chance per stop, by f-number as marked."""

    factor: str
    group: str
    verdict: Verdict
    p_clean: dict[float, float]


def sides_of(
    lens: Lens,
    reports: Sequence[Report],
    cause: Cause,
    question: Question,
    stops: Sequence[float],
    priors: Priors = DEFAULT_PRIORS,
    *,
    visible_ev: float = VISIBLE_EV,
) -> tuple[Side, Side]:
    """The question answered under both conditions of a cause, reports of either side moved to the other.

    stops: the tested ones, as marked. The verdict is what the chances at them amount to: that reports differ is
    no verdict any more where the condition that parts them is given.
    """
    sides = []
    for group in (cause.group_a, cause.group_b):
        asked = on_side(question, cause.factor, group)
        said = answer(lens, reports, asked, stops, priors, visible_ev=visible_ev)
        sides.append(Side(cause.factor, group, _verdict(said.p_clean, lens), said.p_clean))
    return sides[0], sides[1]


def on_side(question: Question, factor: str, group: str) -> Question:
    """The question under the condition that a cause names, such as "front", "the others" or "830 nm"."""
    if factor == "focal":
        return replace(question, focal_mm=float(group.removesuffix(" mm")))
    if factor != "cut_on":
        return replace(question, **{factor: group})
    if group.endswith(" nm"):
        return replace(question, cut_on_nm=float(group.removesuffix(" nm")), cut_on_group=None)
    if group == OTHER_CUT_ONS:
        return replace(question, cut_on_group=None)
    return replace(question, cut_on_nm=None, cut_on_group=group)


def _verdict(p_clean: dict[float, float], lens: Lens) -> Verdict:
    """The last stop that is safe, compared at the two decimals that readers see."""
    stops = sorted(p_clean, key=exact_av)
    safe = [stop for stop in stops if round(p_clean[stop], 2) >= SAFE_CHANCE]
    if not safe:
        never = bool(stops) and round(p_clean[stops[0]], 2) <= NEVER_CHANCE
        return Verdict("never-clean" if never else "no-safe-stop")
    if safe[-1] != stops[-1]:
        return Verdict("clean-to", safe[-1])
    if exact_av(safe[-1]) >= exact_av(lens.narrowest) - SAME_STOP_AV:
        return Verdict("clean-throughout")
    return Verdict("clean-as-far-as-tested", safe[-1])
