"""The one division of evidence into cells: cut-on band × focal zone.

Ladder rows, standings, shot list and wanted tests all use it, so that they speak of the same thing.
"""

from __future__ import annotations

import math
from functools import lru_cache

CUT_ON_EDGES_NM = (640.0, 700.0, 780.0)
BANDS = ("under-640", "640-700", "700-780", "780-up")
UNSTATED = "unstated"
"""Key of evidence that doesn't say, where nothing tells which cell it may belong to."""
BAND_LABELS = {
    UNSTATED: "cut-on not stated",
    "under-640": "cut-on below 640 nm",
    "640-700": "cut-on 640 to 699 nm",
    "700-780": "cut-on 700 to 779 nm",
    "780-up": "cut-on 780 nm and above",
    "full-spectrum": "full spectrum, unfiltered",
    "band-pass": "band-pass filter",
    "dual-band": "dual-band filter",
}
ZONE_ANCHOR_MM = 33.0
"""Edges are 33 mm × 2^(k/2): no usual focal length (24, 28, 35, 50, 85, 100, 135, 200 …) lies within
2 % of one, so the few tenths by which EXIF misses a lens's nominal length change no zone."""


def cut_on_band(cut_on_nm: float) -> str:
    """Key of the band that a cut-on wavelength (nm) belongs to; an edge belongs to the band above."""
    return BANDS[sum(cut_on_nm >= edge for edge in CUT_ON_EDGES_NM)]


def band_label(band: str) -> str:
    """A band's name for people."""
    return BAND_LABELS.get(band, band)


@lru_cache(maxsize=1024)
def zone_edges(focal_mm: float) -> tuple[float, float]:
    """Lower and upper edge (mm) of the half-octave zone that a focal length belongs to."""
    step = math.floor(2 * math.log2(focal_mm / ZONE_ANCHOR_MM) + 1e-9)
    return ZONE_ANCHOR_MM * 2 ** (step / 2), ZONE_ANCHOR_MM * 2 ** ((step + 1) / 2)


@lru_cache(maxsize=1024)
def focal_zone(focal_mm: float) -> str:
    """Key of the focal zone of a focal length (mm): its rounded edges, "47-66"."""
    low, high = zone_edges(focal_mm)
    return f"{_rounded(low)}-{_rounded(high)}"


def zone_label(zone: str, focal_min: float | None = None, focal_max: float | None = None) -> str:
    """A zone's name for people, cut to what the lens covers: "47–66 mm", "66–70 mm", "50 mm"."""
    if zone == UNSTATED:
        return "focal length not stated"
    low, high = (float(edge) for edge in zone.split("-"))
    low = max(low, focal_min) if focal_min else low
    high = min(high, focal_max) if focal_max else high
    return f"{low:g} mm" if low >= high else f"{low:g}–{high:g} mm"


def zones_of(focal_min: float | None, focal_max: float | None) -> list[str]:
    """Keys of the zones a lens covers, shortest first; none where the catalogue lacks its focal lengths."""
    if not focal_min or not focal_max:
        return []
    zones, focal = [focal_zone(focal_min)], focal_min
    while (focal := zone_edges(focal)[1] * (1 + 1e-6)) <= focal_max:
        zones.append(focal_zone(focal))
    return zones


def _rounded(edge: float) -> str:
    return f"{edge:.0f}" if edge >= 10 else f"{edge:.1f}"
