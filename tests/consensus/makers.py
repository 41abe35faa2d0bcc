"""Lenses and reports for the consensus tests, made in a line."""

from __future__ import annotations

from registry.consensus.assessment import CellAssessment, assess_lens
from registry.consensus.evidence import Claim, Lens, Reading, Report

STOPS = (2, 2.8, 4, 5.6, 8, 11, 16)
PRIME = Lens(widest=2, narrowest=16, focal_min=50, focal_max=50)
ZOOM = Lens(widest=2.8, narrowest=22, focal_min=24, focal_max=70)


def sweep(number: int | str, limit: float, tester: str | None = None, stops=STOPS, **conditions) -> Report:
    """A sweep graded by eye: none up to the limit's f-number, visible beyond."""
    readings = tuple(Reading(stop, grade=0 if stop <= limit else 2) for stop in stops)
    stated = {"cut_on_nm": 720, "focal_mm": 50, "method": "visual"} | conditions
    return Report(str(number), tester or f"tester-{number}", readings=readings, **stated)


def measured(number: int | str, limit: float, tester: str | None = None, stops=STOPS, **conditions) -> Report:
    """A measured sweep: .02 EV up to the limit's f-number, .30 beyond."""
    readings = tuple(Reading(stop, ev=0.02 if stop <= limit else 0.30, ev_se=0.02) for stop in stops)
    stated = {"cut_on_nm": 720, "focal_mm": 50} | conditions
    return Report(str(number), tester or f"tester-{number}", readings=readings, **stated)


def claim(number: int | str, says: str, f_number: float | None = None, **conditions) -> Report:
    stated = {"cut_on_nm": 720, "focal_mm": 50, "method": "claim"} | conditions
    return Report(str(number), f"claimant-{number}", claim=Claim(says, f_number), **stated)


def agreeing(count: int, limit: float, start: int = 0, **conditions) -> list[Report]:
    return [sweep(start + number, limit, **conditions) for number in range(count)]


def only_cell(reports, lens: Lens = PRIME, **options) -> CellAssessment:
    (cell,) = assess_lens(lens, reports, **options).cells
    return cell


def chances(cell: CellAssessment) -> list[float]:
    return [stop.p_clean for stop in cell.stops]
