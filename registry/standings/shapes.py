"""The stored form of an assessment: plain JSON in the fields of Standing, and back."""

from __future__ import annotations

from dataclasses import asdict

from registry.consensus.assessment import CellAssessment, StopChance
from registry.consensus.sentences import verdict_words
from registry.standings.queries.evidence import report_id_of

NO_REPORTS = {
    "verdict": "no-reports",
    "f_number": None,
    "words": "no reports",
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


def fields_of(cell: CellAssessment) -> dict:
    """Values of Standing's fields for one assessed cell."""
    return {
        "verdict": cell.verdict.code,
        "f_number": cell.verdict.f_number,
        "words": verdict_words(cell.verdict),
        "confidence": cell.confidence or "",
        "n_reports": cell.n_reports,
        "n_independent": cell.n_independent,
        "stops": [asdict(stop) for stop in cell.stops],
        "limit": asdict(cell.limit_av),
        "causes": [asdict(cause) for cause in cell.causes],
        "suspects": [
            {"report": report_id_of(suspect.report), "entry": suspect.report, "p": suspect.p}
            for suspect in cell.suspects
        ],
        "agreement": {},
        "detail": {},
        "expected_information": cell.expected_information,
    }


def stops_of(stored: list[dict]) -> tuple[StopChance, ...]:
    return tuple(StopChance(**stop) for stop in stored)
