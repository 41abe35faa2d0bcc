"""What a lens's name says of its optics: focal lengths and widest apertures. Pure functions on text."""

from __future__ import annotations

import re
from dataclasses import dataclass

from registry.optics.stops import LARGEST_F_NUMBER, SMALLEST_F_NUMBER

FOCAL_RANGE_MM = (1.0, 3000.0)
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_RANGE = rf"{_NUMBER}(?:\s*[-–]\s*{_NUMBER})?"
_NO_LENGTH = r"(?![\d.,–-]*\s*mm)"  # "F 28mm": a letter before a focal length
_IN_MM = re.compile(rf"(?<![\d.,/]){_RANGE}\s*mm", re.IGNORECASE)  # 24-70 mm
_MARKED = re.compile(
    rf"(?:(?<![A-Za-z])f\s*[/_:]?|(?<=mm)f|(?<![\d.])1\s*:)\s*{_RANGE}{_NO_LENGTH}", re.IGNORECASE
)
# 35/1.4, 1.4/35, 20-60/F3.5-5.6: people write both orders, and an f-number is the smaller figure of the two.
_PAIR = re.compile(rf"(?<![\d.,/-]){_RANGE}\s*/\s*f?{_RANGE}", re.IGNORECASE)
# Glass added to a lens: the pair is no lens of its own.
_ADDED_GLASS = re.compile(
    r"converter|extender|conversion|\b(?:conv|ext)\.|\+.*\d\s*[x×](?!\w)|\+\s*\S*\d", re.IGNORECASE
)


@dataclass(frozen=True)
class Designation:
    """Figures in mm and f-numbers as marked; None where the name does not tell."""

    focal_min_mm: float | None = None
    focal_max_mm: float | None = None
    widest_f: float | None = None
    widest_f_tele: float | None = None


def read_designation(name: str) -> Designation:
    """The optics that a lens's name states: "24-70 mm f/2.8-4" is 24 to 70 mm, f/2.8 at the short end and f/4 at
    the long one. Figures that no lens has are not read."""
    focal, widest = _ranges(_IN_MM, name), _ranges(_MARKED, name)
    for pair in _PAIR.finditer(name):
        longer, smaller = sorted((_ends(pair.groups()[:2]), _ends(pair.groups()[2:])), reverse=True)
        focal, widest = focal + [longer], widest + [smaller]
    return Designation(
        *_first_within(focal, *FOCAL_RANGE_MM), *_first_within(widest, SMALLEST_F_NUMBER, LARGEST_F_NUMBER)
    )


def names_added_glass(name: str) -> bool:
    """Whether the name is of a lens together with a converter, which is never the bare lens."""
    return bool(_ADDED_GLASS.search(name))


def _ranges(pattern: re.Pattern, name: str) -> list[tuple[float, float]]:
    return [_ends(found.groups()) for found in pattern.finditer(name)]


def _ends(parts: tuple[str | None, ...]) -> tuple[float, float]:
    figures = [float(part.replace(",", ".")) for part in parts if part]
    return figures[0], figures[-1]


def _first_within(ranges, low: float, high: float) -> tuple[float | None, float | None]:
    return next((ends for ends in ranges if low <= ends[0] <= ends[1] <= high), (None, None))
