"""How the bag's pages write filters, rings and kits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import template

from registry.bags.use import LensUse, ZoneUse
from registry.kits.bag import Ring
from registry.kits.plan import Kit

register = template.Library()


@register.filter
def at(table: Mapping, key: Any) -> Any:
    """What a table holds under a key."""
    return table[key]


@register.filter
def use_of(used: Mapping[str, LensUse], slug: str) -> LensUse | None:
    """How a lens is used, if its owner's summary tells."""
    return used.get(slug)


@register.filter
def ring_words(ring: Ring) -> str:
    return f"{ring.lens_side_mm:g} → {ring.filter_side_mm:g} mm"


@register.filter
def ring_path(rings: Sequence[Ring]) -> str:
    """Rings from the lens outwards: "52 → 67 → 77"; "none" where the filter screws in by itself."""
    if not rings:
        return "none"
    sizes = [rings[0].lens_side_mm, *(ring.filter_side_mm for ring in rings)]
    return " → ".join(f"{size:g}" for size in sizes)


@register.filter
def owned_pieces(kit: Kit) -> list[str]:
    """What a kit takes from what its owner has, in words."""
    filters = [
        f"{one.filter.diameter_mm:g} mm filter of {one.filter.cut_on_nm:g} nm"
        for one in kit.filters
        if one.owned
    ]
    rings = [
        f"{f'{one.owned} × ' if one.owned > 1 else ''}ring {ring_words(one.ring)}"
        for one in kit.rings
        if one.owned
    ]
    return filters + rings


@register.filter
def kit_in_words(kit: Kit, currency: str) -> str:
    """A kit's purchase in one line."""
    sizes = [
        f"{one.filter.diameter_mm:g} mm ({one.filter.cut_on_nm:g} nm)" for one in kit.filters if not one.owned
    ]
    filters = (
        f"Filters {', '.join(sizes)}" if len(sizes) > 1 else f"Filter {sizes[0]}" if sizes else "No filter"
    )
    rings = (
        f"{kit.rings_to_buy} ring{'s' if kit.rings_to_buy != 1 else ''}" if kit.rings_to_buy else "no ring"
    )
    cost = "" if kit.cost is None else f": {kit.cost}{f' {currency}' if currency else ''}"
    return f"{filters}, {rings}{cost}"


@register.filter
def kilograms(mass_g: float) -> str:
    """1234.0 → 1.23 kg; under a kilogram in grams."""
    return f"{mass_g:.0f} g" if mass_g < 1000 else f"{mass_g / 1000:.2f} kg"


@register.filter
def part_of(count: int, whole: int) -> str:
    """A count as a percentage of a whole, exact at both ends only where the count is."""
    if not whole:
        return "0 %"
    percent = round(100 * count / whole)
    return f"{percent if count in (0, whole) else min(99, max(1, percent))} %"


@register.filter
def frames_at(zone: ZoneUse, stop: str) -> int:
    return zone.by_stop.get(stop, 0)


BAR_WIDTH = 280.0


@register.inclusion_tag("pages/use_bar.svg")
def use_bar(use: LensUse, key: str) -> dict:
    """Three lengths in one bar: frames inside the clean range, past it, and where the registry doesn't say."""
    whole = max(use.frames, 1)
    inside, past = (round(BAR_WIDTH * count / whole, 2) for count in (use.inside, use.past))
    return {
        "use": use,
        "key": key,
        "inside": inside,
        "past": past,
        "past_x": inside,
        "unsaid_x": round(inside + past, 2),
        "unsaid": round(BAR_WIDTH - inside - past, 2),
        "width": BAR_WIDTH,
    }
