"""What kind of answer a lens has, where the sentence alone would leave a reader wondering."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from registry.consensus.cells import UNSTATED
from registry.reports.models import Basis, ClaimSays, Report, ReportState
from registry.standings.queries.answers import LensAnswer
from registry.standings.queries.excess import group_of


@dataclass(frozen=True)
class Situation:
    """kind: "no-reports", "all-set-aside", "cut-on-unstated", "elsewhere", "searched", "one-report", "relayed-only"
    or "" for an answer that needs no word beside it. set_aside: reports that don't count. searched: people who
    looked for published results and found none."""

    kind: str
    set_aside: int
    searched: int


def situation_of(said: LensAnswer, reports: Sequence[Report]) -> Situation:
    """reports: those on the answer's light path, set aside ones among them, with their claims loaded."""
    set_aside = sum(report.state == ReportState.SET_ASIDE for report in reports)
    counting = [report for report in reports if report.state == ReportState.SUBMITTED]
    searched = sum(_found_nothing(report) for report in counting)
    here = [
        report for report in counting if group_of(report) == said.here.group and not _found_nothing(report)
    ]
    return Situation(_kind(said, here, set_aside, searched), set_aside, searched)


def _kind(said: LensAnswer, here: Sequence[Report], set_aside: int, searched: int) -> str:
    if said.worst is None:
        groups = {band.group for band in said.others if band.tested}
        if UNSTATED in groups:
            return "cut-on-unstated"
        if groups:
            return "elsewhere"
        return "all-set-aside" if set_aside else "searched" if searched else "no-reports"
    if said.worst.verdict == "one-report":
        return "one-report"
    return "relayed-only" if here and all(report.basis == Basis.RELAYED for report in here) else ""


def _found_nothing(report: Report) -> bool:
    claims = list(report.claims.all())
    return bool(claims) and all(claim.says == ClaimSays.NOTHING_FOUND for claim in claims)
