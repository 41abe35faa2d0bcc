"""Carrying decisions out, and taking them back: what is decided here happens in the rooms below."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from registry.accounts.models import Account, SharedVoice
from registry.accounts.voices import join_voices, part_voices
from registry.moderation.models import Act, Decision
from registry.moderation.plan import Plan
from registry.moderation.rules import JOINING
from registry.reports.models import Bond, Report, ReportState
from registry.reports.services import restore, set_aside
from registry.reports.services.bonds import join_reports, part_reports
from registry.reports.services.correcting import correct_gear
from registry.reports.services.submission import tell
from registry.standings.models import ConditionSplit
from registry.standings.services.conflicts import close_conflict, reopen_conflict
from registry.standings.services.splits import state_as_one, state_by_condition

ACCEPTED = "accepted as unexplained copy variation"


def carry_out(plan: Plan, by: Account, reason: str, details: dict[str, Any]) -> dict[str, Any]:
    """Let a decision take effect; returns what is needed to take it back."""
    match plan.act:
        case Act.ASK:
            for report in plan.reports:
                tell(report, "report.questioned", actor=by, reason=reason, due=details["due"])
        case Act.SET_ASIDE:
            waited = [report.public_id for report in plan.reports if report.state == ReportState.WAITING]
            for report in plan.reports:
                set_aside(report=report, by=by, reason=reason)
            return {"waited": waited} if waited else {}
        case Act.RESTORE:
            # With what was said of each, so that it can be set aside again in the same words.
            before = {report.public_id: report.state_reason for report in plan.reports}
            for report in plan.reports:
                restore(report=report, by=by, reason=reason)
            return {"reasons": before}
        case Act.SPLIT:
            return {"split": state_by_condition(path=plan.path, condition=plan.condition, by=by).pk}
        case Act.ACCEPT:
            close_conflict(plan.conflict, reason=ACCEPTED, by=by)
        case Act.CORRECT_GEAR:
            return {
                "before": {
                    report.public_id: correct_gear(report=report, by=by, changes=plan.changes, reason=reason)
                    for report in plan.reports
                }
            }
        case Act.SAME_VOICE:
            return {"voice": join_voices(accounts=plan.accounts, by=by, reason=reason).name}
        case joining if joining in JOINING:
            return {"bond": join_reports(reports=plan.reports, kind=joining, by=by).name}
    return {}


def take_back(
    decision: Decision, outcome: dict[str, Any], reports: Sequence[Report], by: Account, reason: str
):
    """Undo what a decision in force did. outcome: what carry_out returned when it took effect."""
    match decision.act:
        case Act.ASK:
            for report in reports:
                tell(report, "report.question-withdrawn", actor=by, reason=reason)
        case Act.SET_ASIDE:
            for report in reports:
                waits = report.public_id in outcome.get("waited", ())
                restore(report=report, by=by, reason=reason, waits=waits)
        case Act.RESTORE:
            for report in reports:
                set_aside(report=report, by=by, reason=outcome["reasons"][report.public_id] or reason)
        case Act.SPLIT:
            for split in ConditionSplit.objects.filter(pk=outcome["split"]):
                state_as_one(split=split, by=by)
        case Act.ACCEPT:
            if decision.conflict is not None:
                reopen_conflict(decision.conflict, by=by)
        case Act.CORRECT_GEAR:
            for report in reports:
                before = outcome["before"][report.public_id]
                correct_gear(report=report, by=by, changes=before, reason=reason)
        case Act.SAME_VOICE:
            for voice in SharedVoice.objects.filter(name=outcome["voice"]):
                part_voices(voice=voice, by=by, reason=reason)
        case joining if joining in JOINING:
            for bond in Bond.objects.filter(name=outcome["bond"]):
                part_reports(bond=bond, by=by)
