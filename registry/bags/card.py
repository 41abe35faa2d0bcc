"""The field card: for each lens of a bag one line that fits a printed sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import sqrt

from registry.bags.queries import Packed
from registry.bags.ranges import Zones, last_clean, standing_at
from registry.consensus.cells import UNSTATED, zone_label, zones_of
from registry.gear.models import Lens
from registry.kits.plan import KitPlan, Use
from registry.optics.stops import mark_of
from registry.standings.queries import LensRow

NOT_TESTED = "not tested"
# Lines of text that one sheet holds in each size of type; what holds more goes on to a second sheet.
LARGE_LINES, MIDDLE_LINES = 12, 26


@dataclass(frozen=True)
class Limit:
    """What the card says of some focal lengths: "f/8", with its confidence, or the verdict in words."""

    focal: str
    says: str
    confidence: str

    @property
    def stated(self) -> bool:
        return self.says.startswith("f/")


@dataclass(frozen=True)
class CardLine:
    """A lens on the card. filter, rings: empty where it needs none or none reaches it; note then says why.
    to_get: whether a piece of them is not in the bag yet."""

    lens: Lens
    row: LensRow
    limits: tuple[Limit, ...]
    filter: str
    rings: str
    to_get: bool
    note: str


def card_lines(
    packed: Sequence[Packed], zones: Mapping[int, Zones], plan: KitPlan, cut_on_nm: float
) -> list[CardLine]:
    """The card's lines for one cut-on (nm), in the bag's order.

    zones: by lens's key, as zones_of_lenses gives. plan: of the same lenses at this cut-on.
    """
    uses = {use.lens: use for use in plan.kit.uses if use.cut_on_nm == cut_on_nm}
    notes = _notes(plan, cut_on_nm)
    missing = {one.filter for one in plan.kit.filters if not one.owned} | {
        one.ring for one in plan.kit.rings if one.to_buy
    }
    return [
        CardLine(
            lens=one.lens,
            row=dict(one.rows)[cut_on_nm],
            limits=limits_of(one.lens, zones.get(one.lens.pk, {})),
            **_served(uses.get(str(one.lens)), missing),
            note=notes.get(str(one.lens), notes.get("", "")),
        )
        for one in packed
    ]


def limits_of(lens: Lens, zones: Zones) -> tuple[Limit, ...]:
    """The clean limits of a lens by focal zone, neighbours that say the same joined into one."""
    if UNSTATED in zones and len(zones) == 1 and lens.is_zoom:
        standing = zones[UNSTATED]
        return (Limit(zone_label(UNSTATED), standing.words, standing.confidence),)
    told = [(zone, *_said(lens, zones, zone)) for zone in zones_of(lens.focal_min_mm, lens.focal_max_mm)]
    limits = []
    for (says, confidence), alike in groupby(told, key=lambda one: one[1:]):
        same = [zone for zone, *_ in alike]
        limits.append(Limit(_span(lens, same[0], same[-1]), says, confidence))
    return tuple(limits)


def sheet_size(lines: Sequence[CardLine]) -> str:
    """The size of type in which the card's lines fill one sheet at most: "large", "middle" or "small"."""
    count = sum(max(1, len(line.limits)) for line in lines)
    return "large" if count <= LARGE_LINES else "middle" if count <= MIDDLE_LINES else "small"


def _said(lens: Lens, zones: Zones, zone: str) -> tuple[str, str]:
    low, high = (float(edge) for edge in zone.split("-"))
    focal = min(max(sqrt(low * high), lens.focal_min_mm), lens.focal_max_mm)
    standing = standing_at(zones, lens, focal)
    if standing is None:
        return NOT_TESTED, ""
    last = last_clean(standing)
    sure = "one report" if standing.verdict == "one-report" else standing.confidence
    if last is None:
        return standing.words.removeprefix("one report so far: "), sure
    return mark_of(last["f_number"]), sure


def _span(lens: Lens, first: str, last: str) -> str:
    zone = f"{first.split('-')[0]}-{last.split('-')[1]}"
    return zone_label(zone, lens.focal_min_mm, lens.focal_max_mm)


def _served(use: Use | None, missing: set) -> dict:
    if use is None:
        return {"filter": "", "rings": "", "to_get": False}
    rings = " + ".join(f"{ring.lens_side_mm:g}→{ring.filter_side_mm:g}" for ring in use.rings)
    return {
        "filter": f"{use.filter.diameter_mm:g} mm",
        "rings": rings,
        "to_get": use.filter in missing or any(ring in missing for ring in use.rings),
    }


def _notes(plan: KitPlan, cut_on_nm: float) -> dict[str, str]:
    """By lens's name why it has no filter here; under "" what holds for all."""
    served = {one.cut_on_nm: one.served_by for one in plan.cut_ons}.get(cut_on_nm)
    if served == "body":
        return {"": "none needed"}
    if served == "out-of-reach":
        return {"": "out of reach"}
    notes = {one.values["lens"]: "none fits" for one in plan.unserved if "lens" in one.values}
    for one in plan.without_thread:
        instead = one.instead[0].code.replace("-", " ")
        notes[one.lens] = "thread?" if one.reason.code == "thread-unknown" else instead
    return notes
