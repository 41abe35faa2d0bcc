"""What a kit plan says in words: a code with its numbers, and the one sentence they make."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

SENTENCES = {
    # why
    "body-needs-no-filter": "A body of yours already passes {cut_on_nm} nm and longer: no filter needed there.",
    "filter-owned": "You own the {diameter_mm} mm filter of {cut_on_nm} nm, so it costs nothing.",
    "filter-fits-largest-thread": "The {diameter_mm} mm filter of {cut_on_nm} nm fits the largest thread in the bag; "
    "rings bring it to smaller ones.",
    "filter-serves": "Lenses that the {diameter_mm} mm filter of {cut_on_nm} nm serves: {lenses}; without a "
    "ring: {without_ring}.",
    "rings-owned": "{count} of the {of} rings in use you own already.",
    "cheapest": "Nothing that serves the bag costs less than {cost}{currency}.",
    "fewest-pieces": "No other kit serves the bag with fewer than {filters} filters to buy, nor, with as few, "
    "with fewer rings than {rings}.",
    "nothing-to-buy": "What you own serves the bag: nothing to buy.",
    "plain-answer-is-best": "Filters for the largest thread and rings for the rest, as the trade advises, is the "
    "best answer for this bag.",
    "plain-answer-costs": "Filters for the largest thread and rings for the rest would cost {cost}{currency}.",
    "plain-answer-takes": "Filters for the largest thread and rings for the rest would take {filters} filters and "
    "{rings} rings.",
    "plain-answer-impossible": "Filters for the largest thread alone can’t serve every lens: too wide for rings, "
    "or a piece that nobody sells.",
    "filter-per-thread-costs": "A filter for every thread, without rings, would cost {cost}{currency}.",
    "filter-per-thread-takes": "A filter for every thread, without rings, would take {filters} filters.",
    # cautions
    "no-eye-protection": "An infrared filter is no eye protection, even where it looks opaque: never look at the "
    "sun through it or through a finder, and point no camera at the sun longer than a frame needs.",
    "stack-may-vignette": "{lens} sees {angle_deg}°, and a ring or rings {stack_mm} mm thick stand before it: rings "
    "and filters may darken the corners; try it at the widest setting before a trip.",
    "narrower-may-vignette": "{lens}: the {diameter_mm} mm filter or its ring is narrower than the lens's "
    "{thread_mm} mm thread and may darken the corners.",
    "hood-does-not-fit": "{lens}: its hood no longer fits over the {diameter_mm} mm filter; shade the lens in "
    "another way.",
    "do-not-force-a-ring": "Don’t force a jammed ring or filter: let a repairer loosen it.",
    "conversion-by-professionals": "Opening a camera exposes a flash capacitor at lethal voltage: leave a "
    "conversion to qualified people.",
    # lenses without a thread, and what else works
    "no-thread": "{lens} has no front thread.",
    "thread-unknown": "{lens}: nobody has told the registry its filter thread.",
    "read-the-thread": "Read the number after ⌀ on the lens's front or cap, and add it to the registry.",
    "rear-holder": "A cut filter in its rear holder.",
    "drop-in": "A drop-in filter in its slot.",
    "clip-in": "A clip-in filter inside the body, before the sensor.",
    "conversion": "A body converted to {cut_on_nm} nm.",
    # what a plan can't serve
    "cut-on-out-of-reach": "No body passes {cut_on_nm} nm: the shortest conversion named is {shortest_nm} nm, and a "
    "filter can only make it longer.",
    "nothing-fits": "{lens}: no filter of {cut_on_nm} nm on sale or owned reaches its {thread_mm} mm thread.",
}


@dataclass(frozen=True)
class Statement:
    """A code of SENTENCES with the numbers and names that its sentence quotes."""

    code: str
    values: Mapping[str, Any]

    @property
    def says(self) -> str:
        """The statement as an English sentence."""
        return SENTENCES[self.code].format(**{name: _written(value) for name, value in self.values.items()})


def state(code: str, **values: Any) -> Statement:
    """A statement of this code."""
    return Statement(code, values)


def _written(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    return f"{value:.2f}" if isinstance(value, Decimal) else str(value)
