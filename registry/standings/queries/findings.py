"""Other infrared traits that testers saw: one voice per tester, then the median."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from statistics import median, quantiles

from registry.gear.models import Lens
from registry.reports.models import Finding, FindingKind, ReportState
from registry.standings.queries.evidence import people_behind
from registry.standings.rules import tester_of


@dataclass(frozen=True)
class FindingSummary:
    """kind, label: which trait. median: of the testers' grades 0–4. count: testers. low, high: quartiles of
    their grades (equal to the extremes below four testers)."""

    kind: str
    label: str
    median: float
    count: int
    low: float
    high: float


def findings_of(lens: Lens) -> list[FindingSummary]:
    """What testers of this lens graded besides the hotspot; a tester who graded twice counts once."""
    rows = list(
        Finding.objects.filter(report__lens=lens, report__state=ReportState.SUBMITTED)
        .select_related("report__author")
        .order_by("id")
    )
    people = people_behind([row.report for row in rows])
    grades: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        grades[row.kind][tester_of(row.report, people)].append(row.grade)
    return [
        _summary(kind, [median(own) for own in grades[kind].values()])
        for kind in FindingKind.values
        if kind in grades
    ]


def _summary(kind: str, grades: list[float]) -> FindingSummary:
    if len(grades) < 4:
        low, high = min(grades), max(grades)
    else:
        low, _, high = quantiles(grades, n=4, method="inclusive")
    return FindingSummary(kind, FindingKind(kind).label, median(grades), len(grades), low, high)
