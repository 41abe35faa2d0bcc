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
def role(stop: Stop) -> str:
    """Why a stop is on the list, as short as the column needs; that it is repeated its boxes say."""
    words = (why.replace("two stops", "2 stops") for why in stop.why if why != "repeated")
    return ", ".join(words)


PARTS = {0: "", 1 / 3: "⅓", 1 / 2: "½", 2 / 3: "⅔"}


@register.filter
def shutter(stop: Stop) -> str:
    """How many stops longer the shutter stays open than at the widest, in parts that cameras have: +2⅓."""
    steps = (whole + part for whole in range(13) for part in PARTS)
    nearest = min(steps, key=lambda step: abs(step - stop.longer_ev))
    whole, part = int(nearest), nearest % 1
    sign = PARTS[min(PARTS, key=lambda one: abs(one - part))]
    return f"+{whole or ''}{sign}" if nearest else "0"
