"""Refusals of values that the simulation can't take."""

from __future__ import annotations

import math
from collections.abc import Sequence

from registry.errors import InvalidInput, Problem


def one_of(value: object, allowed: Sequence[object], field: str) -> None:
    """Raise InvalidInput unless value is among those allowed."""
    if value not in allowed:
        raise InvalidInput(
            Problem(
                code="unknown-choice",
                field=field,
                value=value,
                says=f"“{value}” is no {field} that the simulation knows.",
                remedy=f"Choose one of {', '.join(map(str, allowed))}.",
            )
        )


def within(value: float, low: float, high: float, field: str) -> None:
    """Raise InvalidInput unless value is finite and within low to high."""
    if not (math.isfinite(value) and low <= value <= high):
        raise InvalidInput(
            Problem(
                code="out-of-range",
                field=field,
                value=value,
                says=f"{field} is {value:g}, outside {low:g} to {high:g}.",
                remedy=f"Give a {field} within {low:g} to {high:g}.",
            )
        )
