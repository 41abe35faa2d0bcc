"""Agreeing to what someone proposed, or declining it; and taking a decision back. Each is a row of its own."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from registry.accounts.models import Account
from registry.errors import Conflict as Refused
from registry.errors import NotAllowed, Problem
from registry.gear.models import GearKind
from registry.gear.queries import gear_now
from registry.moderation.models import Act, Decision
from registry.moderation.plan import Plan
from registry.moderation.queries.decisions import IN_FORCE, WAITING, decision_by_id, outcome_of, status_of
from registry.moderation.rules import DECIDING, ON_VOICES, check_may_moderate, checked_reason
from registry.moderation.services.acts import carry_out, take_back
from registry.moderation.services.deciding import check_no_part, plan_of, told, write_decision
from registry.reports.models import Report
from registry.standings.by_condition import ByCondition
from registry.standings.models import Conflict
from registry.standings.queries.supposing import Supposition, WhatIf
from registry.standings.services.conflicts import hold_lens_of, touch_conflict

AUTHOR = "author"


@transaction.atomic
def answer_proposal(*, decision: Decision, by: Account, agree: bool, reason: str) -> Decision:
    """Agree to a proposal, which then takes effect, or decline it.

    A second moderator answers; of corrected gear, the report's author may.
    Raises NotAllowed for whoever proposed it and for who has a part in it, errors.Conflict where it is answered.
    """
    decision = _held(decision)
    if status_of(decision).code != WAITING:
        raise Refused(
            Problem(
                code="already-answered",
                field="decision",
                value=decision.public_id,
                says=f"Decision {decision.public_id} does not wait for anyone.",
                remedy="See what became of it.",
            )
        )
    plan = _planned(decision)
    act, role = _part(decision, plan, by, agree)
    reason = checked_reason(reason)
    details: dict[str, Any] = {}
    if agree and decision.act == Act.UNDO:
        _reverse(decision.about, plan, by, decision.reason)
    elif agree:
        details["outcome"] = carry_out(plan, decision.by, decision.reason, decision.details)
    answer = write_decision(plan, by=by, reason=reason, about=decision, act=act, role=role, details=details)
    _touch(plan.conflict)
    return answer


@transaction.atomic
def undo_decision(*, decision: Decision, by: Account, reason: str) -> Decision:
    """Take a decision back that is in force; or propose it, where that sets evidence aside that a verdict hangs on.

    Raises NotAllowed for who may not decide this, errors.Conflict where it is not in force.
    """
    check_may_moderate(by)
    decision = _held(decision)
    reason = checked_reason(reason)
    if status_of(decision).code != IN_FORCE or decision.act not in DECIDING:
        raise Refused(
            Problem(
                code="not-in-force",
                field="decision",
                value=decision.public_id,
                says=f"Decision {decision.public_id} is not in force: there is nothing to take back.",
                remedy="See what became of it, or decide anew.",
            )
        )
    plan = _planned(decision)
    check_no_part(by, plan)
    moved = WhatIf(*plan.lenses).moved(_reversed(decision, plan))
    proposed = decision.act == Act.RESTORE and any(one.verdict_changes for one in moved)
    details = {"expected": told(moved)}
    if not proposed:
        _reverse(decision, plan, by, reason)
    undo = write_decision(
        plan, by=by, reason=reason, about=decision, act=Act.UNDO, proposed=proposed, details=details
    )
    _touch(plan.conflict)
    return undo


def _held(decision: Decision) -> Decision:
    """Lock the decision's row: of two who answer or take back at once, the second sees what the first did."""
    Decision.objects.select_for_update(no_key=True).get(pk=decision.pk)
    return decision_by_id(decision.public_id)


def _part(decision: Decision, plan: Plan, by: Account, agree: bool) -> tuple[str, str]:
    """As what someone answers: the act, and their role."""
    is_author = decision.act == Act.CORRECT_GEAR and all(report.author_id == by.pk for report in plan.reports)
    if is_author:
        return (Act.CONSENT if agree else Act.DECLINE), AUTHOR
    check_may_moderate(by)
    if decision.by_id == by.pk and agree:
        raise NotAllowed(
            Problem(
                code="own-proposal",
                field="decision",
                value=decision.public_id,
                says="You proposed this yourself.",
                remedy="Someone else has to agree; you can only withdraw it.",
            )
        )
    check_no_part(by, plan)
    return (Act.APPROVE if agree else Act.DECLINE), by.role


def _planned(decision: Decision) -> Plan:
    """The plan behind a stored decision; behind one that takes another back, that other's."""
    source = decision.about if decision.act == Act.UNDO else decision
    # In the order in which deciding locks them.
    if source.conflict_id is not None:
        hold_lens_of(source.conflict_id)
    conflict = (
        Conflict.objects.select_for_update(of=("self",), no_key=True)
        .select_related("standing__lens__maker", "standing__teleconverter__maker", "standing__adapter__maker")
        .filter(pk=source.conflict_id)
        .first()
    )
    reports = list(
        Report.objects.select_for_update(of=("self",), no_key=True)
        .select_related("lens__maker", "author", "rig__body")
        .filter(decisions=source)
        .order_by("pk")
    )
    if source.act in ON_VOICES:
        accounts = Account.objects.filter(public_id__in=source.details["accounts"]).order_by("pk")
        return Plan(source.act, None, reports, accounts=list(accounts))
    stated = source.details.get("by_condition")
    condition = stated and ByCondition(stated["factor"], stated["group"], tuple(stated["labels"]))
    if conflict is None and not reports:
        return Plan(source.act, gear_now(GearKind.LENS, source.lens_slug))
    changes = source.details.get("changes")
    if source.act == Act.CORRECT_GEAR and status_of(source).code != WAITING:
        return Plan(source.act, reports[0].lens, reports, conflict, None, changes)
    return plan_of(source.act, conflict, reports, condition=condition, changes=changes)


def _reversed(decision: Decision, plan: Plan) -> Supposition:
    """What would count otherwise once a decision is taken back."""
    rows = frozenset(report.pk for report in plan.reports)
    outcome = outcome_of(decision)
    match decision.act:
        case Act.SET_ASIDE:
            waited = outcome.get("waited", ())
            counted = frozenset(report.pk for report in plan.reports if report.public_id not in waited)
            return Supposition(restored=counted)
        case Act.RESTORE:
            return Supposition(set_aside=rows)
        case Act.SAME_COPY | Act.SAME_SOURCE | Act.SAME_FRAMES:
            return Supposition(parted=frozenset({outcome["bond"]}))
        case Act.SAME_VOICE:
            return Supposition(own_voices=frozenset({outcome["voice"]}))
        case Act.SPLIT if plan.conflict is not None:
            return Supposition(by_condition=((plan.path, None),))
    return Supposition()


def _reverse(decision: Decision, plan: Plan, by: Account, reason: str) -> None:
    take_back(decision, outcome_of(decision), plan.reports, by, reason)


def _touch(conflict: Conflict | None) -> None:
    if conflict is not None:
        touch_conflict(conflict)
