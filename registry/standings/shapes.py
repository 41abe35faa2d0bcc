"""The stored form of an assessment: values of Standing's fields, plain JSON where they nest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from registry.consensus.assessment import CellAssessment, LensAssessment, StopChance
from registry.consensus.constants import VISIBLE_EV
from registry.consensus.evidence import Report
from registry.consensus.sentences import Tint, lens_sentence, verdict_words, worst_cell
from registry.consensus.verdicts import Verdict
from registry.optics.stops import exact_av
from registry.standings.agreement import agreement_of
from registry.standings.rules import report_id_of

Cell = tuple[str, str]  # cut-on group, focal zone

NO_REPORTS = {
    "verdict": "no-reports",
    "f_number": None,
    "words": verdict_words(Verdict("no-reports")),
    "clean_to_av": None,
    "leads": False,
    "sentence": "",
    "confidence": "",
    "n_reports": 0,
    "n_independent": 0,
    "stops": [],
    "limit": {},
    "causes": [],
    "suspects": [],
    "agreement": {},
    "detail": {},
    "expected_information": 0.0,
}


def fields_by_cell(
    assessment: LensAssessment,
    entries: Sequence[Report],
    tints: Mapping[Cell, float],
    visible_ev: float = VISIBLE_EV,
) -> dict[Cell, dict]:
    """Values of Standing's fields for every assessed cell; in each group one cell with evidence leads.

    entries: what was assessed. tints: f-numbers from which cells are tinted though not brighter.
    """
    causes = [asdict(cause) for cause in assessment.causes]
    groups: dict[str, list[CellAssessment]] = {}
    for cell in assessment.cells:
        groups.setdefault(cell.band, []).append(cell)
    fields = {}
    for group, cells in groups.items():
        worst = worst_cell(cells)
        for cell in cells:
            key = (group, cell.focal_zone)
            agreement = agreement_of(assessment.lens, entries, *key, visible_ev)
            fields[key] = _fields(cell) | {"causes": causes, "agreement": agreement}
            fields[key]["detail"]["tinted_from"] = tints.get(key)
            if cell is worst:
                fields[key] |= {"leads": True, "sentence": _sentence(assessment, group, tints)}
    return fields


def _sentence(assessment: LensAssessment, group: str, tints: Mapping[Cell, float]) -> str:
    here = [Tint(zone, f_number) for (band, zone), f_number in sorted(tints.items()) if band == group]
    return lens_sentence(assessment, band=group, tints=here)


def _fields(cell: CellAssessment) -> dict:
    return NO_REPORTS | {
        "verdict": cell.verdict.code,
        "f_number": cell.verdict.f_number,
        "words": verdict_words(cell.verdict),
        "clean_to_av": clean_to_av(cell.verdict.says or cell.verdict, cell.stops),
        "confidence": cell.confidence or "",
        "n_reports": cell.n_reports,
        "n_independent": cell.n_independent,
        "stops": [asdict(stop) for stop in cell.stops],
        "limit": asdict(cell.limit_av),
        "suspects": [
            {
                "reports": sorted({report_id_of(entry) for entry in suspect.report_ids}),
                "entries": list(suspect.report_ids),
                "p": suspect.p,
            }
            for suspect in cell.suspects
        ],
        "detail": {
            "spread": cell.spread,
            "n_mixed": cell.n_mixed,
            "n_nothing_found": cell.n_nothing_found,
            "says": asdict(cell.verdict.says) if cell.verdict.says else None,
        },
        "expected_information": cell.expected_information,
    }


def clean_to_av(verdict: Verdict, stops: Sequence[StopChance]) -> float | None:
    """Av of the last stop that a verdict calls clean; None when it calls none clean."""
    if verdict.code in ("clean-to", "clean-as-far-as-tested"):
        return exact_av(verdict.f_number)
    tested = [exact_av(stop.f_number) for stop in stops if stop.tested]
    return max(tested) if verdict.code == "clean-throughout" and tested else None


def stops_of(stored: Sequence[Mapping]) -> tuple[StopChance, ...]:
    return tuple(StopChance(**stop) for stop in stored)
