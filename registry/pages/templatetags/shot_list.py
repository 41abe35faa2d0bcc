"""How the shot list's sheet writes what is to be set."""

from __future__ import annotations

from django import template

from registry.shotlists import cautions as cautionary
from registry.shotlists.setups import Stop

register = template.Library()


@register.simple_tag
def cautions() -> tuple[str, ...]:
    """What can hurt, in words of caution."""
    return cautionary.CAUTIONS


@register.filter
def times(count: int) -> range:
    """To draw something as often."""
    return range(count)


@register.filter
def shutter(stop: Stop) -> str:
    """The shutter's time at a stop as a multiple of that at the widest: ×4, ×1.3."""
    factor = stop.times_longer
    return f"×{factor:.0f}" if factor >= 10 or abs(factor - round(factor)) < 0.02 else f"×{factor:.1f}"
