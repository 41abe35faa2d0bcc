"""What the parts of a lens's page are made from: the answer, and the reports behind it, read once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.urls import reverse
from django.utils.http import urlencode

from registry.consensus.cells import BANDS
from registry.gear import queries as gear
from registry.pages.camera import Camera
from registry.pages.editions import edition_of
from registry.pages.figures import common_scale
from registry.publishing.queries import latest_release
from registry.reports.models import Report, ReportState
from registry.reports.queries import reports_on
from registry.reports.rules.sources import source_of
from registry.standings import queries as standings
from registry.standings.models import Conflict
from registry.standings.rules import LightPath, path_of

CHANGES_SHOWN = 30
REPORTS_SHOWN = 8


@dataclass(frozen=True)
class ReportTold:
    """A report with its own result in words. same_source: an earlier relay of the same source, with which it is one
    piece of evidence."""

    report: Report
    result: str
    same_source: Report | None = None


@dataclass(frozen=True)
class ConflictTold:
    """A conflict with its camps summed up, and what may explain it."""

    conflict: Conflict
    camps: list[standings.Camp]
    causes: list[standings.NamedCause]


def lens_context(answer: standings.LensAnswer, seen: Camera) -> dict[str, Any]:
    """Everything that a lens's page shows of one light path at the reader's cut-on and tolerance."""
    tested, path = answer.lens, answer.path
    reports = reports_through(path)
    paths = standings.paths_of(tested, cut_on_nm=seen.cut_on_nm)
    conflicts = _conflicts(path, reports)
    return {
        "lens": tested,
        "answer": answer,
        "seen": seen,
        "conditions": standings.conditions_of(answer),
        "paths": [one for one in paths if (one.teleconverter, one.adapter) != _glass_of(path)],
        "situation": standings.situation_of(answer, reports),
        "wavelengths": _by_wavelength(answer),
        "conflicts": conflicts,
        "excess": standings.excess_of(answer, reports),
        "proof": standings.proof_of_verdicts(answer, reports, [told.conflict for told in conflicts]),
        "reports": reports_told(reports[:REPORTS_SHOWN], seen.visible_ev, among=reports),
        "report_count": len(reports),
        "history": standings.history_of(tested, path=path)[:CHANGES_SHOWN],
        "sources": gear.sources_of(tested),
        "wave_scale": common_scale(band.worst.stops for band in (answer.here, *answer.others) if band.worst),
        "edition": edition_of(answer),
        "release": latest_release(),
        "query": _query(answer, seen),
        "address": _address(answer, seen),
    }


def reports_told(
    reports: list[Report], visible_ev: float, *, among: list[Report] | None = None
) -> list[ReportTold]:
    """These reports, each with what it says alone at a tolerance (EV). among: the reports that an earlier relay of the
    same source may be one of."""
    sayings = standings.sayings_of(reports, visible_ev)
    first: dict[str, Report] = {}
    for report in sorted(among or reports, key=lambda one: one.pk):
        if (source := source_of(report)) and report.state == ReportState.SUBMITTED:
            first.setdefault(source, report)
    return [
        ReportTold(
            report,
            standings.result_in_words(report, sayings),
            None if (same := first.get(source_of(report) or "")) == report else same,
        )
        for report in reports
    ]


def reports_through(path: LightPath) -> list[Report]:
    """The reports on a light path; those with pictures first, since they can be judged by looking."""
    every = reports_on(path.lens).prefetch_related("sweeps__readings", "claims")
    mine = [report for report in every if path_of(report) == path]
    return sorted(mine, key=lambda report: not report.images.all())


def _glass_of(path: LightPath) -> tuple:
    return path.teleconverter, path.adapter


def _by_wavelength(answer: standings.LensAnswer) -> list[standings.BandAnswer]:
    """The reader's cut-on among the others with evidence, shortest first; empty where there is only one."""
    places = {group: place for place, group in enumerate(BANDS)}
    bands = sorted(
        (answer.here, *answer.others), key=lambda band: (places.get(band.group, len(places)), band.group)
    )
    return bands if answer.others else []


def _conflicts(path: LightPath, reports: list[Report]) -> list[ConflictTold]:
    """The open conflicts of a path, told at the default tolerance, which is the one they were found at."""
    conflicts = list(standings.open_conflicts(path=path))
    named = {said["report"] for one in conflicts for camp in one.camps.values() for said in camp}
    sayings = standings.sayings_of([report for report in reports if report.public_id in named])
    return [
        ConflictTold(
            conflict,
            standings.camps_in_words(conflict.camps, sayings),
            standings.named_causes(conflict.explanations),
        )
        for conflict in conflicts
    ]


def _query(answer: standings.LensAnswer, seen: Camera) -> str:
    """The reader's question as a query string, for links that keep it."""
    glass = {name: item.slug for name in ("teleconverter", "adapter") if (item := getattr(answer.path, name))}
    tolerance = {"visible_ev": f"{seen.visible_ev:g}"} if seen.own_tolerance else {}
    return urlencode({"cut_on_nm": f"{seen.cut_on_nm:g}"} | tolerance | glass)


def _address(answer: standings.LensAnswer, seen: Camera) -> str:
    """Where this very answer is found, for a citation."""
    return f"{settings.PUBLIC_URL}{reverse('lens', args=[answer.lens.slug])}?{_query(answer, seen)}"
