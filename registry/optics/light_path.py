"""Which light reaches the sensor: the cut-on of a conversion and a filter together.

A long-pass filter's cut-on is the wavelength at which it reaches half its peak transmittance. Of stacked
long-pass filters the longest cut-on decides (common practice, no source).
"""

from __future__ import annotations

from registry.errors import InvalidInput, Problem

SHORTEST_NM, LONGEST_NM = 400.0, 1100.0


def check_wavelength(value: float, field: str = "cut_on_nm") -> float:
    """Return value as a float in nm.

    Raises InvalidInput outside 400–1100 nm, where neither filters for photography nor silicon sensors work.
    """
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = float("nan")
    if not SHORTEST_NM <= number <= LONGEST_NM:
        raise InvalidInput(
            Problem(
                code="wavelength-out-of-range",
                field=field,
                value=value,
                says=f"“{value}” is not a wavelength between {SHORTEST_NM:g} and {LONGEST_NM:g} nm.",
                remedy="Write the cut-on in nanometres, such as 720.",
            )
        )
    return number


def effective_cut_on(*cut_ons_nm: float | None) -> float | None:
    """The cut-on in nm of a stack of long-pass filters: the longest of those given, None if none is given."""
    known = [cut_on for cut_on in cut_ons_nm if cut_on is not None]
    return max(known, default=None)
