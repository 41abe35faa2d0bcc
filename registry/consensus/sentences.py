"""Verdicts in words. Pages, API and field card take them from here, so that they all say the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from registry.consensus.assessment import CellAssessment, LensAssessment
from registry.consensus.cells import UNSTATED, cut_on_band, zone_label, zones_of
from registry.consensus.verdicts import Verdict
from registry.optics.stops import mark_of

CONFIDENCE_WORDS = {
    "firm": "firm: five or more independent reports agree well enough",
    "fair": "fair: three or more independent reports",
    "tentative": "tentative: one more report may change it",
    None: "no evidence yet",
}


def verdict_words(verdict: Verdict) -> str:
    """A verdict as readers see it: "clean to f/8", "one report so far: clean to f/5.6"."""
    stop = mark_of(verdict.f_number) if verdict.f_number is not None else ""
    if verdict.code == "one-report":
        return f"one report so far: {verdict_words(verdict.says)}"
    return {
        "no-reports": "no reports",
        "reports-differ": "reports differ",
        "never-clean": "never clean",
        "no-safe-stop": "no safe stop shown",
        "clean-throughout": "clean throughout",
        "clean-as-far-as-tested": f"clean as far as tested ({stop})",
        "clean-to": f"clean to {stop}",
        "hot-from": f"hot from {stop}, nothing wider tested",
        "mixed": "mixed results",
    }[verdict.code]


def confidence_words(confidence: str | None) -> str:
    """What a level of confidence means, in one line."""
    return CONFIDENCE_WORDS[confidence]


@dataclass(frozen=True)
class Tint:
    """A patch that is coloured without being bright: seen from this f-number on, in this focal zone."""

    focal_zone: str
    f_number: float


def worst_cell(cells: Sequence[CellAssessment]) -> CellAssessment | None:
    """The cell with the least promising verdict among those with reports; None if there is none.

    Where reports differ that comes first, since any stop may be hot; then never clean, no safe stop, and
    limits from the widest to the narrowest.
    """
    told = [cell for cell in cells if cell.n_independent]
    return min(told, key=_promise) if told else None


def _promise(cell: CellAssessment) -> tuple[int, float, float, str]:
    verdict = cell.verdict.says or cell.verdict
    rank = {
        "never-clean": 0,
        "mixed": 1,
        "reports-differ": 1,
        "hot-from": 2,
        "no-safe-stop": 2,
        "clean-to": 3,
        "clean-as-far-as-tested": 3,
        "clean-throughout": 4,
    }[verdict.code]
    return rank, verdict.f_number or 0.0, cell.limit_av.median, cell.focal_zone


def lens_sentence(
    assessment: LensAssessment,
    cut_on_nm: float | None = None,
    *,
    band: str | None = None,
    tints: Sequence[Tint] = (),
) -> str:
    """The one sentence of a lens at the reader's cut-on (nm) or band: its worst tested focal zone, the zones
    nobody tested, and a tint without brightness."""
    band = band or cut_on_band(cut_on_nm)
    lens = assessment.lens
    cells = [cell for cell in assessment.cells if cell.band == band]
    worst = worst_cell(cells)
    if worst is None:
        return verdict_words(Verdict("no-reports"))
    words = verdict_words(worst.verdict)
    told = {cell.focal_zone for cell in cells if cell.n_independent}
    zones = zones_of(lens.focal_min, lens.focal_max)
    if len(zones) > 1 and len(told) > 1:
        words += f" at {zone_label(worst.focal_zone, lens.focal_min, lens.focal_max)}, its worst tested zone"
    elif len(zones) > 1 and worst.focal_zone != UNSTATED:
        words += f" at {zone_label(worst.focal_zone, lens.focal_min, lens.focal_max)}"
    tint = next((tint for tint in tints if tint.focal_zone == worst.focal_zone), None)
    if tint:
        words += f"; in brightness only: tinted from {mark_of(tint.f_number)}"
    if told != {UNSTATED} and (untested := _ranges([zone for zone in zones if zone in told], zones)):
        ranges = [zone_label(zone, lens.focal_min, lens.focal_max) for zone in untested]
        words += f"; nobody tested {_listed(ranges)}"
    return words


def _ranges(told: Sequence[str], zones: Sequence[str]) -> list[str]:
    """The zones not told, neighbours joined into one: "187-264" and "264-373" into "187-373"."""
    joined: list[str] = []
    for before, zone in zip([None, *zones], zones, strict=False):
        if zone in told:
            continue
        if joined and before not in told and before is not None:
            joined[-1] = f"{joined[-1].split('-')[0]}-{zone.split('-')[1]}"
        else:
            joined.append(zone)
    return joined


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
