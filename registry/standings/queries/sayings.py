"""What each report says by itself, and what the two camps of a conflict say together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from registry.consensus import evidence
from registry.consensus.assessment import assess_catalogue
from registry.consensus.constants import VISIBLE_EV
from registry.consensus.sentences import verdict_words
from registry.consensus.verdicts import Verdict
from registry.optics.stops import mark_of
from registry.reports.models import ClaimSays, Report
from registry.standings.queries.evidence import evidence_by_path, usable_entries
from registry.standings.rules import report_id_of

CLEAN_BEYOND = ("clean-as-far-as-tested", "clean-throughout")

# A stored JSON object keeps no order of its own on PostgreSQL.
CAMP_ORDER = ("sooner", "later", "suspect", "others")


@dataclass(frozen=True)
class Saying:
    """What one sweep or claim says alone. tester: whose observation it is. verdict: None where it says nothing
    about a limit, as a single frame. focal_mm: None where it states none."""

    report: str
    tester: str
    words: str
    verdict: Verdict | None
    focal_mm: float | None


@dataclass(frozen=True)
class Camp:
    """One side of a conflict. name: as the conflict stores it. reports: their public ids, those sooner hot first."""

    name: str
    testers: int
    words: str
    reports: tuple[str, ...]


def sayings_of(reports: Sequence[Report], visible_ev: float = VISIBLE_EV) -> dict[str, Saying]:
    """By piece of evidence, what it says alone at a tolerance (EV).

    reports: with their gear, sweeps, readings and claims, as counting_reports loads them.
    """
    cases = []
    for path, entries in evidence_by_path(list(reports)).items():
        optics = path.optics(reading.f_number for entry in entries for reading in entry.readings)
        cases += [(optics, [entry]) for entry in usable_entries(entries, optics)[0]]
    assessments = assess_catalogue(cases, visible_ev=visible_ev) if cases else []
    return {
        entry.id: _saying(entry, _verdict(assessment))
        for (_, (entry,)), assessment in zip(cases, assessments, strict=True)
    }


def result_in_words(report: Report, sayings: Mapping[str, Saying]) -> str:
    """A report's own result in one line: "clean to f/11 at 24 mm; clean to f/8 at 50 and 70 mm"."""
    said: dict[str, list[float | None]] = {}
    for saying in sayings.values():
        if saying.report == report.public_id:
            said.setdefault(saying.words, []).append(saying.focal_mm)
    several = report.lens.is_zoom or report.teleconverter_id is not None
    return "; ".join(words + (_at(focal_lengths) if several else "") for words, focal_lengths in said.items())


def camps_in_words(camps: Mapping[str, Sequence[Mapping]], sayings: Mapping[str, Saying]) -> list[Camp]:
    """A conflict's camps as counts of independent testers and the span of what they say, in CAMP_ORDER."""
    return [_camp(name, camps[name], sayings) for name in CAMP_ORDER if camps.get(name)]


def _verdict(assessment) -> Verdict | None:
    told = [cell.verdict for cell in assessment.cells if cell.verdict.code != "no-reports"]
    return (told[0].says or told[0]) if told else None


def _saying(entry: evidence.Report, verdict: Verdict | None) -> Saying:
    words = verdict_words(verdict) if verdict else "nothing that counts"
    if entry.claim is not None:
        stop = f" {mark_of(entry.claim.f_number)}" if entry.claim.f_number else ""
        words = f"{ClaimSays(entry.claim.says).label}{stop}"
    elif len(entry.readings) == 1:
        words, verdict = _one_frame(entry.readings[0]), None
    return Saying(report_id_of(entry.id), entry.tester, words, verdict, entry.focal_mm)


def _one_frame(reading: evidence.Reading) -> str:
    seen = f"{reading.ev + 0.0:.2f} EV" if reading.ev is not None else f"graded {reading.grade}"
    return f"{mark_of(reading.f_number)} {seen}".replace("-", "−")


def _at(focal_lengths: Iterable[float | None]) -> str:
    known = [f"{focal:g}" for focal in focal_lengths if focal is not None]
    if not known:
        return ""
    listed = known[0] if len(known) == 1 else f"{', '.join(known[:-1])} and {known[-1]}"
    return f" at {listed} mm"


def _camp(name: str, told: Sequence[Mapping], sayings: Mapping[str, Saying]) -> Camp:
    ordered = sorted(told, key=lambda one: one["limit_av"])
    testers = {sayings[one["entry"]].tester if one["entry"] in sayings else one["report"] for one in ordered}
    reports = tuple(dict.fromkeys(one["report"] for one in ordered))
    return Camp(name, len(testers), _span(ordered, sayings), reports)


def _span(ordered: Sequence[Mapping], sayings: Mapping[str, Saying]) -> str:
    """What a camp says from its earliest limit to its latest: "clean to f/4–f/5.6", "clean to f/11 or further"."""
    by_words: dict[str, Verdict | None] = {}
    for one in ordered:
        saying = sayings.get(one["entry"])
        by_words.setdefault(one["says"], saying and saying.verdict)
    words, verdicts = list(by_words), list(by_words.values())
    if len(words) == 1:
        return words[0]
    stops = [verdict.f_number for verdict in verdicts if verdict and verdict.code == "clean-to"]
    if len(stops) == len(words):
        return f"{words[0]}–{mark_of(stops[-1])}"
    beyond = [verdict for verdict in verdicts if verdict and verdict.code in CLEAN_BEYOND]
    if len(stops) + len(beyond) == len(words):
        return f"clean to {mark_of(min(stops))} or further" if stops else " or ".join(words)
    return f"{', '.join(words[:-1])} or {words[-1]}" if len(words) <= 3 else f"{words[0]} to {words[-1]}"
