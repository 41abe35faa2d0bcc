"""How the check page writes readings, and tells frames of the target from the others."""

from __future__ import annotations

from django import template

from registry.pages.templatetags.pages import ev
from registry.reports.models import ImagePurpose, Reading

register = template.Library()
NORMAL_95 = 1.96


@register.filter
def interval(reading: Reading) -> str:
    """A measured reading's 95 % interval; an excess below 0 is noise: "0.02 to 0.10"."""
    low, high = _interval(reading)
    return f"{ev(low)} to {ev(high)}"


@register.filter
def visibility(reading: Reading, visible_ev: float) -> str:
    """Whether a reading's 95 % interval lies above or below the visible threshold."""
    low, high = _interval(reading)
    return "visible" if low >= visible_ev else "not visible" if high < visible_ev else "may be visible"


@register.filter
def any_graded(sweep) -> bool:
    return any(reading.grade is not None for reading in sweep.readings)


@register.filter
def beside_the_target(frames: list) -> list:
    """Controls and proof pictures."""
    return [frame for frame in frames if frame.image.purpose != ImagePurpose.TARGET]


def _interval(reading: Reading) -> tuple[float, float]:
    spread = NORMAL_95 * reading.excess_se
    return max(reading.excess_ev - spread, 0.0), max(reading.excess_ev + spread, 0.0)
