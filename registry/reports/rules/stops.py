"""Which f-numbers and focal lengths a report on a lens can hold."""

from __future__ import annotations

from collections.abc import Iterable

from registry.errors import InvalidInput, Problem
from registry.gear.models import Lens, Teleconverter
from registry.optics import stops

# Cameras round the widest aperture they write, by up to a sixth of a stop.
ROUNDING_AV = 0.2
# How far from the ends of a zoom a stated focal length still belongs to it.
FOCAL_SLACK = 0.06


def magnification_of(teleconverter: Teleconverter | None) -> float:
    return teleconverter.magnification if teleconverter else 1.0


def own_values(lens: Lens, teleconverter: Teleconverter | None = None) -> tuple[float, ...]:
    """F-numbers that this lens itself shows without their being marks on a scale."""
    bare = [value for value in (lens.widest_f, lens.widest_f_tele, lens.narrowest_f) if value]
    return tuple(bare + [value * magnification_of(teleconverter) for value in bare if teleconverter])


def widest_possible(lens: Lens, focal_length_mm: float | None) -> float:
    """The widest f-number as marked that this focal length may allow.

    Between its ends a zoom opens to somewhere between the two marks, so that the wider one is the bound.
    """
    if lens.is_zoom and focal_length_mm and focal_length_mm >= lens.focal_max_mm * 0.98:
        return lens.widest_f_tele
    return min(lens.widest_f, lens.widest_f_tele)


def check_not_wider(
    lens: Lens, focal_length_mm: float | None, f_number: float, field: str = "f_number"
) -> None:
    """Raise InvalidInput when an f-number is wider than the lens opens at this focal length."""
    StopsOfLens(lens, focal_length_mm).check_not_wider(f_number, field)


def check_typed_f_number(
    lens: Lens,
    focal_length_mm: float | None,
    value: float,
    field: str = "f_number",
    teleconverter: Teleconverter | None = None,
) -> float:
    """Take an f-number that a person typed for this lens.

    Raises InvalidInput when it is out of range, neither a marked stop nor the lens's own value (the nearest
    ones are named), or wider than the lens opens.
    """
    return StopsOfLens(lens, focal_length_mm, teleconverter).typed(value, field)


class StopsOfLens:
    """The stops that a lens has at one focal length in mm (None: at any), for checking many of them."""

    def __init__(self, lens: Lens, focal_length_mm: float | None, teleconverter: Teleconverter | None = None):
        self.lens, self.focal_length_mm = lens, focal_length_mm
        self.own = own_values(lens, teleconverter)
        self.widest = widest_possible(lens, focal_length_mm)
        self.widest_av = stops.exact_av(self.widest) - ROUNDING_AV

    def typed(self, value: float, field: str) -> float:
        """Take an f-number that a person typed; raises as check_typed_f_number does."""
        number = stops.typed_f_number(value, self.own, field)
        self.check_not_wider(number, field)
        return number

    def check_not_wider(self, f_number: float, field: str) -> None:
        """Raises as the function of this name does."""
        if stops.exact_av(f_number) >= self.widest_av:
            return
        at = f" at {self.focal_length_mm:g} mm" if self.focal_length_mm else ""
        opens = f"{self.lens} opens{at} ({stops.mark_of(self.widest)})"
        raise InvalidInput(
            Problem(
                code="wider-than-the-lens-opens",
                field=field,
                value=f_number,
                says=f"{stops.mark_of(f_number)} is wider than {opens}.",
                remedy="Correct the f-number, or choose the lens that was really on the camera.",
            )
        )


def check_focal_length(
    lens: Lens, value: float, field: str = "focal_length_mm", teleconverter: Teleconverter | None = None
) -> float:
    """Return a focal length in mm that the lens has, alone or with its teleconverter.

    Raises InvalidInput otherwise.
    """
    reach = magnification_of(teleconverter)
    low, high = lens.focal_min_mm * (1 - FOCAL_SLACK), lens.focal_max_mm * (1 + FOCAL_SLACK) * reach
    if low <= value <= high:
        return value
    ends = dict.fromkeys((lens.focal_min_mm, lens.focal_max_mm))
    span = " to ".join(f"{end:g}" for end in ends)
    raise InvalidInput(
        Problem(
            code="focal-length-outside-the-lens",
            field=field,
            value=value,
            says=f"{value:g} mm lies outside {lens} ({span} mm).",
            remedy="Give the focal length as read off the lens, not multiplied by a crop factor.",
        )
    )


def sweep_focal_length(lens: Lens, stated_mm: float | None) -> float | None:
    """The focal length under which a frame is filed: a prime's own, a zoom's as stated to a tenth of a mm.

    None when a zoom's is not known. A prime's EXIF may be rounded or, with an adapter, missing.
    """
    if not lens.is_zoom and (not stated_mm or abs(stated_mm / lens.focal_min_mm - 1) <= FOCAL_SLACK):
        return lens.focal_min_mm
    return round(stated_mm, 1) if stated_mm else None


def distinct_stops(f_numbers: Iterable[float]) -> int:
    """How many different stops a set of f-numbers stands for; f/3.5 and f/3.6 are one."""
    return len({round(stops.exact_av(f_number), 6) for f_number in f_numbers})
