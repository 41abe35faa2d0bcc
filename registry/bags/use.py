"""How much each lens, focal length and aperture is used: the summary that registry.folder writes, read and judged.

A bag keeps it as {"frames", "unnamed", "lenses": [{"name", "lens", "near", "frames", "together"}]}: `lens` is the
address of the catalogue's lens that the name stands for, None where that is not certain; `near` are then the
addresses of those it may be.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from registry.bags.contents import Bag
from registry.bags.ranges import Zones, is_clean, standing_at
from registry.consensus.cells import focal_zone, zone_label, zones_of
from registry.errors import InvalidInput, Problem, TooLarge
from registry.gear.models import Lens
from registry.gear.queries import find_lenses, match_exif_lens
from registry.optics.stops import FULL_STOPS, exact_av

FORMAT = "cleanstop-use/1"
MOST_BYTES, MOST_LENSES, MOST_COUNTS = 1_000_000, 100, 4000
LONGEST_NAME = 160
NEAR_SHOWN = 3
COMMAND = "python -m registry.folder FOLDER --use use.json"


def read_use(content: bytes) -> dict[str, Any]:
    """A summary file as a bag keeps it, its lenses matched with the catalogue.

    Raises TooLarge beyond the stated sizes, InvalidInput for a file of another form or without sense.
    """
    if len(content) > MOST_BYTES:
        raise TooLarge(
            _malformed("", len(content), f"The file has {len(content):,} bytes; {MOST_BYTES:,} fit.")
        )
    summary = _parsed(content)
    if summary.get("format") != FORMAT:
        raise InvalidInput(
            Problem(
                code="use-summary-of-another-form",
                field="format",
                value=str(summary.get("format"))[:60],
                says=f"The file is no summary of use: its format is “{str(summary.get('format'))[:60]}”.",
                remedy=f"Send the file that “{COMMAND}” writes, of the form {FORMAT}.",
            )
        )
    listed = summary.get("lenses")
    if not isinstance(listed, list) or len(listed) > MOST_LENSES:
        raise _refusal("lenses", listed, f"“lenses” is no list of at most {MOST_LENSES} lenses.")
    lenses = [_read_lens(entry, f"lenses.{index}") for index, entry in enumerate(listed)]
    if sum(len(counted) for lens in lenses for counted in lens["together"].values()) > MOST_COUNTS:
        raise TooLarge(_malformed("lenses", len(lenses), f"It holds more than {MOST_COUNTS:,} counts."))
    return {
        "frames": _count(summary.get("frames"), "frames"),
        "unnamed": _count(summary.get("unnamed", 0), "unnamed"),
        "lenses": [lens | _matched(lens["name"]) for lens in lenses],
    }


def settle(use: Mapping[str, Any], name: str, slug: str | None) -> dict[str, Any]:
    """The kept summary with a name's lens as the bag's owner says it; None: none of the catalogue's."""
    lenses = [one | {"lens": slug, "near": []} if one["name"] == name else one for one in use["lenses"]]
    return dict(use) | {"lenses": lenses}


def _parsed(content: bytes) -> dict[str, Any]:
    try:
        summary = json.loads(content.decode("utf-8"))
    except (UnicodeDecodeError, ValueError, RecursionError):
        raise _refusal("", None, "The file can't be read as JSON.") from None
    if not isinstance(summary, dict):
        raise _refusal("", None, "The file holds no JSON object.")
    return summary


def _read_lens(entry: Any, at: str) -> dict[str, Any]:
    if not isinstance(entry, dict):
        raise _refusal(at, entry, f"“{str(entry)[:60]}” is no lens with its counts.")
    name = entry.get("lens")
    if not isinstance(name, str) or not 0 < len(name) <= LONGEST_NAME or not name.isprintable():
        raise _refusal(f"{at}.lens", name, f"“{str(name)[:60]}” is no lens's name.")
    together = entry.get("together")
    if not isinstance(together, dict):
        raise _refusal(
            f"{at}.together", together, f"The counts of {name} by focal length and aperture are missing."
        )
    return {
        "name": name,
        "frames": _count(entry.get("frames"), f"{at}.frames"),
        "together": {
            _figure(focal, f"{at}.together", 1, 3000): _read_counts(counted, f"{at}.together.{focal}")
            for focal, counted in together.items()
        },
    }


def _read_counts(counted: Any, at: str) -> dict[str, int]:
    if not isinstance(counted, dict):
        raise _refusal(at, counted, f"“{str(counted)[:60]}” are no counts by aperture.")
    return {_figure(f_number, at, 0.5, 128): _count(count, at) for f_number, count in counted.items()}


def _figure(text: Any, at: str, low: float, high: float) -> str:
    try:
        number = float(text)
    except (TypeError, ValueError):
        number = math.nan
    if not low <= number <= high:
        raise _refusal(at, text, f"“{str(text)[:60]}” is no number from {low:g} to {high:g}.")
    return f"{number:g}"


def _count(value: Any, at: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= 100_000_000:
        raise _refusal(at, value, f"“{str(value)[:60]}” is no count of frames.")
    return value


def _malformed(at: str, value: Any, says: str) -> Problem:
    return Problem(
        code="use-summary-malformed",
        field=at,
        value=None if value is None else str(value)[:60],
        says=says,
        remedy=f"Write the file anew with “{COMMAND}” and send it unchanged.",
    )


def _refusal(at: str, value: Any, says: str) -> InvalidInput:
    return InvalidInput(_malformed(at, value, says))


def _matched(name: str) -> dict[str, Any]:
    """The lens that a camera means by a name, or else those it may mean: a wrong one would be worse than none."""
    if lens := match_exif_lens(name):
        return {"lens": lens.slug, "near": []}
    return {"lens": None, "near": [match.lens.slug for match in find_lenses(name, limit=NEAR_SHOWN)]}


# ---- what a summary says at a cut-on ------------------------------------------------------------------


@dataclass
class ZoneUse:
    """Frames taken in one focal zone: how many at each full stop (by its mark), and how many of them lie inside
    the clean range, past it, or where the registry doesn't say."""

    label: str
    by_stop: dict[str, int] = field(default_factory=dict)
    inside: int = 0
    past: int = 0
    unsaid: int = 0

    def count(self, f_number: float, frames: int, clean: bool | None) -> None:
        mark = nearest_full_stop(f_number)
        self.by_stop[mark] = self.by_stop.get(mark, 0) + frames
        if clean is None:
            self.unsaid += frames
        elif clean:
            self.inside += frames
        else:
            self.past += frames

    @property
    def frames(self) -> int:
        return self.inside + self.past + self.unsaid


@dataclass(frozen=True)
class LensUse:
    """How a lens is used, by focal zone. frames: all of them; those whose EXIF lacks a value are in no zone."""

    lens: Lens
    frames: int
    zones: tuple[ZoneUse, ...]

    @property
    def inside(self) -> int:
        return sum(zone.inside for zone in self.zones)

    @property
    def past(self) -> int:
        return sum(zone.past for zone in self.zones)

    @property
    def unsaid(self) -> int:
        return self.frames - self.inside - self.past

    @property
    def stops(self) -> list[str]:
        """Marks of the full stops used, widest first."""
        return sorted({mark for zone in self.zones for mark in zone.by_stop}, key=float)


def nearest_full_stop(f_number: float) -> str:
    """Mark of the full stop that an f-number lies nearest to; the wider one of two as near."""
    av = exact_av(f_number)
    return min(FULL_STOPS, key=lambda stop: (abs(float(stop.av) - av), stop.av)).mark


def judged(bag: Bag, lenses: Mapping[str, Lens], zones: Mapping[int, Zones]) -> list[LensUse]:
    """What the bag's summary says of each lens, most used first.

    lenses: by address; a lens that isn't among them is left out. zones: by lens's key, as zones_of_lenses gives.
    """
    told = [one for one in (bag.use or {}).get("lenses", ()) if one["lens"] in lenses]
    by_lens: dict[str, list[dict]] = {}
    for one in told:
        by_lens.setdefault(one["lens"], []).append(one)
    found = [
        _lens_use(lenses[slug], entries, zones.get(lenses[slug].pk, {})) for slug, entries in by_lens.items()
    ]
    return sorted(found, key=lambda use: (-use.frames, str(use.lens)))


def _lens_use(lens: Lens, entries: list[dict], zones: Zones) -> LensUse:
    by_zone: dict[str, ZoneUse] = {}
    for entry in entries:
        for focal_text, counted in entry["together"].items():
            focal = float(focal_text)
            # EXIF rounds focal lengths and misses nominal ones by a little: what lies outside is at the end.
            within = min(max(focal, lens.focal_min_mm), lens.focal_max_mm)
            zone = by_zone.setdefault(focal_zone(within), ZoneUse(_label(lens, within)))
            standing = standing_at(zones, lens, within)
            for f_text, frames in counted.items():
                zone.count(float(f_text), frames, is_clean(standing, float(f_text)))
    order = [zone for zone in zones_of(lens.focal_min_mm, lens.focal_max_mm) if zone in by_zone]
    return LensUse(lens, sum(entry["frames"] for entry in entries), tuple(by_zone[zone] for zone in order))


def _label(lens: Lens, focal_mm: float) -> str:
    return zone_label(focal_zone(focal_mm), lens.focal_min_mm, lens.focal_max_mm)
