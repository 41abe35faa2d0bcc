"""Deciding: checked, foreseen, and carried out at once or once a second person agrees."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account
from registry.errors import Conflict as Refused
from registry.errors import InvalidInput, Problem
from registry.ledger.services import record
from registry.moderation.models import Act, Decision, DecisionReport
from registry.moderation.plan import Plan
from registry.moderation.rules import (
    ABOUT_A_CONFLICT,
    ABOUT_REPORTS,
    ON_EVIDENCE,
    ON_SEVERAL,
    check_may_moderate,
    check_no_part_in,
    checked_due,
    checked_reason,
    checked_reason_code,
    needs_a_second,
)
from registry.moderation.services.acts import carry_out
from registry.reports.models import Report, ReportState
from registry.reports.services.correcting import read_gear
from registry.reports.services.holding import check_version
from registry.standings.by_condition import FACTORS_TO_STATE_BY, ByCondition
from registry.standings.models import Conflict
from registry.standings.queries.supposing import Moved, WhatIf
from registry.standings.services.conflicts import hold_lens_of, touch_conflict


@transaction.atomic
def decide(
    *,
    by: Account,
    act: str,
    reason: str,
    conflict: Conflict | None = None,
    reports: Sequence[Report] = (),
    reason_code: str = "",
    due: date | None = None,
    condition: ByCondition | None = None,
    changes: Mapping[str, Any] | None = None,
    expected_version: int | None = None,
) -> Decision:
    """Decide on a conflict, or on reports by themselves; or propose it, where a second person has to agree.

    Setting a report aside needs one where it changes a verdict; correcting gear always does (its author may be that
    person). due: of a question. condition: to state the standings by. changes: of gear fields, as
    reports.services.correcting takes them. expected_version: of the conflict, or of the one report, as it was seen.
    Raises InvalidInput with what is wrong, NotAllowed for who may not decide this, errors.Conflict when it was
    changed meanwhile or its state doesn't allow the act.
    """
    check_may_moderate(by)
    reason, reason_code = checked_reason(reason), checked_reason_code(act, reason_code)
    if conflict is not None:
        conflict = hold_conflict(conflict, expected_version)
    reports = _held(reports, expected_version if conflict is None else None)
    plan = plan_of(act, conflict, reports, condition=condition, changes=changes)
    check_no_part(by, plan)
    moved = WhatIf(*plan.lenses).moved(plan.supposed())
    details: dict[str, Any] = {"expected": told(moved)}
    if act == Act.ASK:
        details["due"] = checked_due(due, timezone.now().date()).isoformat()
    if condition is not None:
        details["by_condition"] = {
            "factor": condition.factor,
            "group": condition.group,
            "labels": list(condition.labels),
        }
    if plan.changes:
        details["changes"] = {name: _plain(value) for name, value in plan.changes.items()}
    proposed = needs_a_second(act, any(one.verdict_changes for one in moved))
    if not proposed:
        details["outcome"] = carry_out(plan, by, reason, details)
    decision = write_decision(
        plan, by=by, reason=reason, reason_code=reason_code, proposed=proposed, details=details
    )
    if conflict is not None:
        touch_conflict(plan.conflict)
    return decision


def plan_of(
    act: str,
    conflict: Conflict | None,
    reports: Sequence[Report],
    *,
    condition: ByCondition | None = None,
    changes: Mapping[str, Any] | None = None,
) -> Plan:
    """What is to be decided, checked against its kind. Raises InvalidInput."""
    problems = list(_missing(act, conflict, reports, condition))
    if problems:
        raise InvalidInput(problems)
    lens = conflict.standing.lens if conflict is not None else reports[0].lens
    plan = Plan(act, lens, reports, conflict, condition, dict(changes or {}))
    return replace(plan, gear=read_gear(reports[0], plan.changes)) if act == Act.CORRECT_GEAR else plan


def hold_conflict(conflict: Conflict, expected_version: int | None) -> Conflict:
    """Lock a conflict and read it afresh. Raises errors.Conflict when it is closed or was changed meanwhile."""
    hold_lens_of(conflict.pk)
    rows = Conflict.objects.select_for_update(of=("self",), no_key=True).select_related(
        "standing__lens__maker", "standing__teleconverter__maker", "standing__adapter__maker"
    )
    held = rows.get(pk=conflict.pk)
    if expected_version is not None and held.version != expected_version:
        raise Refused(
            Problem(
                code="changed-meanwhile",
                field="version",
                value=expected_version,
                says=f"This conflict is at version {held.version}; you saw version {expected_version}.",
                remedy="Read what changed, and decide on what stands now. What you wrote is kept.",
            )
        )
    if not held.open:
        raise Refused(
            Problem(
                code="conflict-closed",
                field="conflict",
                value=held.pk,
                says=f"This conflict is closed: {held.close_reason}.",
                remedy="Take back what closed it, or decide on a report by itself.",
            )
        )
    return held


def check_no_part(by: Account, plan: Plan) -> None:
    """As rules.check_no_part_in, of every lens and report that a plan is about."""
    reports = involved(plan)
    for lens in plan.lenses:
        check_no_part_in(by, lens, reports)


def involved(plan: Plan) -> list[Report]:
    """The reports that a plan names, and those of the conflict it is about."""
    camps = plan.conflict.camps.values() if plan.conflict is not None else ()
    named = {said["report"] for told in camps for said in told}
    return [*plan.reports, *Report.objects.filter(public_id__in=named)]


def write_decision(
    plan: Plan,
    *,
    by: Account,
    reason: str,
    reason_code: str = "",
    proposed: bool = False,
    about: Decision | None = None,
    act: str | None = None,
    role: str | None = None,
    details: dict[str, Any],
) -> Decision:
    """Store one row, with its reports, and tell the event log."""
    decision = Decision.objects.create(
        act=act or plan.act, by=by, role=role or by.role, conflict=plan.conflict,
        lens_slug=plan.lens.slug if plan.lens else "",
        reason=reason, reason_code=reason_code, proposed=proposed, about=about, details=details,
    )  # fmt: skip
    DecisionReport.objects.bulk_create(
        DecisionReport(decision=decision, report=report) for report in plan.reports
    )
    happened = "proposed" if proposed else "made" if about is None else "answered"
    data = {
        "lens": plan.lens.slug if plan.lens else None,
        "act": decision.act,
        "reports": [report.public_id for report in plan.reports],
        "conflict": plan.conflict.pk if plan.conflict is not None else None,
        "about": about.public_id if about is not None else None,
        "reason": reason,
    }
    record(
        f"decision.{happened}", actor=by, subject_kind="decision", subject_id=decision.public_id, data=data
    )
    return decision


def told(moved: Sequence[Moved]) -> list[dict[str, Any]]:
    """What standings were expected to say before and after, as a decision keeps it."""
    return [
        {
            "path": str(one.path),
            "cut_on_group": one.group,
            "focal_zone": one.zone,
            "before": _said(one.before),
            "after": _said(one.after),
        }
        for one in moved
    ]


def _said(fields: Mapping[str, Any]) -> str:
    return f"{fields['words']} ({fields['confidence']})" if fields["confidence"] else fields["words"]


def _held(reports: Sequence[Report], expected_version: int | None) -> list[Report]:
    """The reports, locked in one order whoever asks, and read afresh."""
    rows = Report.objects.select_for_update(of=("self",), no_key=True).select_related(
        "lens__maker", "author", "rig__body"
    )
    held = list(rows.filter(pk__in=[report.pk for report in reports]).order_by("pk"))
    for report in held if len(held) == 1 else ():
        check_version(report, expected_version)
    return held


def _missing(act: str, conflict: Conflict | None, reports: Sequence[Report], condition: ByCondition | None):
    if act not in ON_EVIDENCE:
        yield _problem(
            "not-a-choice", "act", act, f"“{act}” is no decision.", f"Use one of: {', '.join(ON_EVIDENCE)}."
        )
        return
    if act in ABOUT_REPORTS and not reports:
        yield _problem(
            "missing", "reports", [], "No report is chosen.", "Choose the reports that it is about."
        )
    if act in ABOUT_A_CONFLICT and conflict is None:
        yield _problem(
            "missing", "conflict", None, "No conflict is named.", "Decide this on a conflict’s page."
        )
    if act in ON_SEVERAL and len(reports) < 2:
        yield _problem(
            "reports-to-join", "reports", [report.public_id for report in reports],
            "It takes two reports to be one, or to be two.", "Choose two or more reports.",
        )  # fmt: skip
    if act == Act.CORRECT_GEAR and len(reports) != 1:
        yield _problem(
            "one-report-needed",
            "reports",
            len(reports),
            "Gear is corrected in one report at a time.",
            "Choose one.",
        )
    if len({report.lens_id for report in reports}) > 1:
        yield _problem(
            "reports-to-join",
            "reports",
            len(reports),
            "They are on different lenses.",
            "Choose reports on one lens.",
        )
    if act == Act.SPLIT and (condition is None or condition.factor not in FACTORS_TO_STATE_BY):
        yield _problem(
            "not-a-choice", "factor", condition and condition.factor, "It is not said by which condition.",
            f"Use one of: {', '.join(FACTORS_TO_STATE_BY)}.",
        )  # fmt: skip
    hidden = [
        report.public_id for report in reports if report.state in (ReportState.DRAFT, ReportState.WITHDRAWN)
    ]
    if hidden:
        yield _problem(
            "wrong-state",
            "reports",
            hidden[0],
            f"Report {hidden[0]} is a draft, or withdrawn.",
            "Leave it out.",
        )


def _problem(code: str, field: str, value: object, says: str, remedy: str) -> Problem:
    return Problem(code=code, field=field, value=value, says=says, remedy=remedy)


def _plain(value: Any) -> Any:
    return value if value is None or isinstance(value, str | int | float | bool | dict) else str(value)
