"""Letting a newcomer's report count."""

from __future__ import annotations

from django.db import transaction

from registry.accounts.models import Account
from registry.errors import NotAllowed, Problem
from registry.reports.models import Report, ReportState
from registry.reports.rules.newcomers import may_confirm
from registry.reports.services.holding import hold_report, write_report
from registry.reports.services.submission import tell


@transaction.atomic
def confirm_report(*, report: Report, by: Account) -> Report:
    """Say that a waiting report reads like a test; from now on it counts.

    Raises Conflict unless it waits, NotAllowed for its author, or for someone none of whose own reports counts.
    """
    hold_report(report, states=(ReportState.WAITING,))
    if not may_confirm(by, report):
        raise NotAllowed(
            Problem(
                code="not-established",
                field="by",
                value=by.name,
                says="Only someone else with a report that counts can confirm this one.",
                remedy="Leave it to them, or to a moderator.",
            )
        )
    write_report(report, state=ReportState.SUBMITTED, state_reason="")
    tell(report, "report.confirmed", actor=by)
    return report
