"""Holding a report for a write: locked, allowed, in the right state, and not changed by someone else meanwhile."""

from __future__ import annotations

from collections.abc import Collection

from django.db.models import F

from registry.accounts.models import Account
from registry.errors import Conflict, NotAllowed, Problem
from registry.reports.models import Report, ReportState

EDITABLE = (ReportState.DRAFT,)


def hold_report(
    report: Report,
    *,
    by: Account | None = None,
    states: Collection[str] = EDITABLE,
    expected_version: int | None = None,
) -> Report:
    """Lock a report's row, read it afresh into the given instance, and return it.

    by: must be its author; None when the registry itself acts or the caller has checked.
    Raises NotAllowed for someone else's report, Conflict in another state than states or when its version is
    not expected_version.
    """
    report.refresh_from_db(from_queryset=Report.objects.select_for_update(no_key=True))
    if by is not None and report.author_id != by.pk:
        raise NotAllowed(
            Problem(
                code="not-your-report",
                field="report",
                value=report.public_id,
                says=f"Report {report.public_id} is {report.author}'s.",
                remedy="Only its author can change it.",
            )
        )
    check_version(report, expected_version)
    if report.state not in states:
        raise Conflict(
            Problem(
                code="wrong-state",
                field="state",
                value=report.state,
                says=f"Report {report.public_id} is {ReportState(report.state).label}.",
                remedy=_REMEDIES[report.state],
            )
        )
    return report


def check_version(report: Report, expected_version: int | None) -> None:
    """Raise Conflict when a report has been written since the version that the caller saw."""
    if expected_version is not None and report.version != expected_version:
        raise Conflict(
            Problem(
                code="changed-meanwhile",
                field="version",
                value=expected_version,
                says=f"Report {report.public_id} is at version {report.version}, not {expected_version}.",
                remedy="Read it again, and make your change to what it says now.",
            )
        )


def write_report(report: Report, **values: object) -> Report:
    """Store some fields of a held report and count the write in its version."""
    for name, value in values.items():
        setattr(report, name, value)
    report.version = F("version") + 1
    report.save(update_fields=[*values, "version", "updated_at"])
    report.refresh_from_db(fields=["version"])
    return report


_REMEDIES = {
    ReportState.DRAFT: "Submit it first.",
    ReportState.WAITING: "It counts once an established contributor has confirmed it.",
    ReportState.SUBMITTED: "Revise it with a reason; what it said before is kept.",
    ReportState.SET_ASIDE: "A moderator can restore it; its author can revise or withdraw it.",
    ReportState.WITHDRAWN: "A withdrawn report stays as it is; file a new one.",
}
