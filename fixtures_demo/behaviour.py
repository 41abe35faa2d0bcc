"""How the invented lenses really behave: the truth that the demo's testers photograph and grade.

One law for all of them: the excess is 0.10 EV at the lens's limit and grows as a power of the f-number,
(N / N_limit)^growth. Wavelength, focal length, filter position and the copy move the limit in stops.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from registry.optics.stops import av_of, exact_av, f_number_of

WORLD = Path(__file__).parent / "world"
VISIBLE_EV = 0.10
REFERENCE_NM = 720.0
# Lower bounds of eye grades 1–4 in EV, as the registry words them for its testers.
GRADE_BOUNDS_EV = (0.05, 0.10, 0.30, 0.70)
# The last clean stop is clean with something to spare.
SPARE_STOPS = 0.45


@dataclass(frozen=True)
class Behaviour:
    """One row of world/behaviour.csv. `per_100_nm` and `per_octave` are stops by which the limit moves."""

    lens: str
    clean_to: float
    growth: float
    per_100_nm: float
    per_octave: float
    radius: float
    tint_rg: float
    tint_bg: float
    shape: str
    story: str
    reports: int
    framed: int

    def limit_av(self, *, cut_on_nm: float, octaves: float = 0.0, shift: float = 0.0) -> float:
        """The Av at which the excess is 0.10 EV; `octaves` of focal length above the lens's shortest."""
        waves = self.per_100_nm * (cut_on_nm - REFERENCE_NM) / 100
        return exact_av(self.clean_to) + SPARE_STOPS + waves + self.per_octave * octaves + shift

    def excess_ev(self, f_number: float, limit_av: float) -> float:
        return min(3.5, VISIBLE_EV * f_number_of(av_of(f_number) - limit_av) ** self.growth)


def grade_of(excess_ev: float) -> int:
    return sum(excess_ev >= bound for bound in GRADE_BOUNDS_EV)


def read_behaviours() -> list[Behaviour]:
    numbers = {"clean_to", "growth", "per_100_nm", "per_octave", "radius", "tint_rg", "tint_bg"}
    with open(WORLD / "behaviour.csv", encoding="utf-8", newline="") as file:
        return [
            Behaviour(
                **{
                    key: float(value)
                    if key in numbers
                    else int(value)
                    if key in ("reports", "framed")
                    else value
                    for key, value in row.items()
                }
            )
            for row in csv.DictReader(file)
        ]
