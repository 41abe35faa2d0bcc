"""What measuring a frame yields: numbers with their uncertainty, or a refusal with its reason.

Positions and radii are in units of the frame's half-diagonal; excesses in EV (log2 of luminance).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

METHOD_VERSION = "1.3"

MEASURED = "measured"
UNCERTAIN = "uncertain"
REJECTED = "rejected"


@dataclass(frozen=True)
class Refusal:
    """Why a frame can't be measured.

    code: "clipped", "underexposed", "tilted", "noisy", "not-a-plain-target" or "unusable-image".
    number, limit: what was found and the most (or least) that is allowed, in unit.
    says: one sentence for the photographer, with the number and what to do.
    """

    code: str
    number: float
    limit: float
    unit: str
    says: str


@dataclass(frozen=True, eq=False)
class Profile:
    """Azimuthal means around the patch's centre, for the overlay and the plot.

    radius: half-diagonals, ascending, shape (n,). excess, low, high: EV over the baseline and its 95 %
    interval. baseline: EV of the fitted baseline, 0 at the patch's centre.
    """

    radius: np.ndarray
    excess: np.ndarray
    low: np.ndarray
    high: np.ndarray
    baseline: np.ndarray

    def to_dict(self) -> dict[str, list[float]]:
        return {name: [_plain(value) for value in getattr(self, name)] for name in self.__dataclass_fields__}

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Profile:
        return cls(**{name: np.asarray(stored[name], dtype=float) for name in cls.__dataclass_fields__})


@dataclass(frozen=True, eq=False)
class Measurement:
    """One frame's result.

    ev: mean excess in a disc of radius 0.03 at the patch's centre; ev_se its standard error; ev_low and
        ev_high its 95 % interval, model error included.
    peak_ev: the largest azimuthal-mean excess. radius: where that mean falls to half its peak, outermost.
    centre: (x, y) from the frame's centre, x right, y down.
    tint_rg, tint_bg: log2(R/G) and log2(B/G) of the patch against its surroundings; None when not quoted.
    probability_of_patch: posterior probability that there is a patch at all.
    A rejected frame has a refusal, and None for every number.
    """

    status: str
    refusal: Refusal | None = None
    ev: float | None = None
    ev_se: float | None = None
    ev_low: float | None = None
    ev_high: float | None = None
    peak_ev: float | None = None
    radius: float | None = None
    centre: tuple[float, float] | None = None
    tint_rg: float | None = None
    tint_bg: float | None = None
    probability_of_patch: float | None = None
    profile: Profile | None = None
    notes: tuple[str, ...] = field(default=())
    method_version: str = METHOD_VERSION

    def visible_at(self, threshold_ev: float) -> bool:
        """Whether the frame shows a hotspot of at least threshold_ev, beyond doubt that there is one."""
        return self.status == MEASURED and self.ev >= threshold_ev and self.ev_low > 0

    def to_dict(self) -> dict[str, Any]:
        """A form that JSON can keep: finite numbers, None, text, lists."""
        stored = {name: _plain(getattr(self, name)) for name in self.__dataclass_fields__}
        stored["refusal"] = None if self.refusal is None else _plain(asdict(self.refusal))
        stored["profile"] = None if self.profile is None else self.profile.to_dict()
        return stored

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Measurement:
        """The inverse of to_dict; names that this version doesn't know are ignored."""
        known = {name: stored[name] for name in cls.__dataclass_fields__ if name in stored}
        known["refusal"] = Refusal(**known["refusal"]) if known.get("refusal") else None
        known["profile"] = Profile.from_dict(known["profile"]) if known.get("profile") else None
        known["centre"] = tuple(known["centre"]) if known.get("centre") else None
        known["notes"] = tuple(known.get("notes", ()))
        return cls(**known)


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, int | float | np.number):
        number = float(value)
        if not math.isfinite(number):
            raise ValueError(f"A measurement must not hold {number}.")
        return round(number, 7)
    return value
