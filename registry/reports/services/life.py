"""The life of a report: draft → submitted → maybe set aside, restored, or withdrawn; edits make revisions."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from django.db import transaction

from registry.accounts.addresses import note_address
from registry.accounts.models import Account
from registry.accounts.services import check_may_submit
from registry.errors import Conflict, InvalidInput, NotAllowed, Problem
from registry.reports.models import Report, ReportState
from registry.reports.rules.submission import check_submission
from registry.reports.rules.summary import contradiction_problems
from registry.reports.rules.sweeps import is_settled, pending_images
from registry.reports.services.contents import apply_contents, read_contents
from registry.reports.services.drafts import apply_details
from registry.reports.services.holding import hold_report, write_report
from registry.reports.services.revisions import keep_revision
from registry.reports.services.submission import enter, tell

PUBLIC = (ReportState.WAITING, ReportState.SUBMITTED, ReportState.SET_ASIDE)


@transaction.atomic
def submit_report(
    *, report: Report, by: Account, submit_when_measured: bool = False, expected_version: int | None = None
) -> Report:
    """Submit a draft: it counts at once.

    submit_when_measured: where frames are still being measured, let it go in by itself once they are.
    Raises InvalidInput with everything that is missing, Conflict while frames are being measured, NotAllowed while
    the author's email address is not confirmed.
    """
    hold_report(report, by=by, expected_version=expected_version)
    check_may_submit(by)
    note_address(by)
    if is_settled(report):
        return enter(report)
    if submit_when_measured:
        return write_report(report, submit_when_measured=True, submit_problems=[])
    waiting = pending_images(report).count()
    what = f"{waiting} frame{'s are' if waiting != 1 else ' is'}" if waiting else "The sweep is"
    raise Conflict(
        Problem(
            code="still-measuring",
            field="images",
            value=waiting,
            says=f"{what} still being measured.",
            remedy="Wait a moment, or ask for the report to be submitted once they are.",
        )
    )


@transaction.atomic
def rewrite_draft(
    *, report: Report, by: Account, changes: Mapping[str, Any], expected_version: int | None = None
) -> Report:
    """Change any part of a draft; changes are as for revise_report, and nothing needs a reason yet.

    Raises InvalidInput with every problem, Conflict when it is no draft or was changed meanwhile.
    """
    hold_report(report, by=by, expected_version=expected_version)
    contents = read_contents(changes, by, report)
    apply_details(report, contents.details)
    apply_contents(report, contents)
    return write_report(report)


@transaction.atomic
def revise_report(
    *,
    report: Report,
    by: Account,
    reason: str,
    changes: Mapping[str, Any],
    expected_version: int | None = None,
) -> Report:
    """Change a submitted report; what it said before is kept whole as a revision.

    changes: any fields of file_report's data; each list that is given (sweeps, claims, findings, images) replaces the
    one of that name. Pictures that are left out of `images` stay their owner's, without a report.
    Raises InvalidInput with every problem, a summary that contradicts what was measured and is not stood by among
    them; Conflict when it is not submitted or was changed meanwhile.
    """
    hold_report(report, by=by, states=PUBLIC, expected_version=expected_version)
    reason = _reason(reason, "Say in a few words why the report changes.")
    lens_before = report.lens
    contents = read_contents(changes, by, report)
    keep_revision(report, by=by, reason=reason)
    apply_details(report, contents.details)
    apply_contents(report, contents)
    # While frames are measured anew, nobody knows yet what they say.
    unanswered = contradiction_problems(report) if is_settled(report) else []
    if problems := [*check_submission(report), *unanswered]:
        raise InvalidInput(problems)
    write_report(report, revision=report.revision + 1, submit_problems=[])
    moved = {"lens_before": lens_before.slug} if lens_before != report.lens else {}
    tell(report, "report.revised", actor=by, reason=reason, **moved)
    return report


@transaction.atomic
def withdraw_report(
    *, report: Report, by: Account, reason: str, expected_version: int | None = None
) -> Report:
    """Take a report out for good, at its author's wish; it leaves a note that it was there."""
    hold_report(report, by=by, states=PUBLIC, expected_version=expected_version)
    reason = _reason(reason, "Say in a few words why you withdraw it.")
    write_report(report, state=ReportState.WITHDRAWN, state_reason=reason)
    tell(report, "report.withdrawn", actor=by, reason=reason)
    return report


@transaction.atomic
def set_aside(*, report: Report, by: Account, reason: str, expected_version: int | None = None) -> Report:
    """Let a report no longer count, by a moderator's decision, or never count, where it waits to be confirmed; it
    stays public with the reason."""
    _hold_for_moderator(report, by, (ReportState.SUBMITTED, ReportState.WAITING), expected_version)
    reason = _reason(reason, "State why, so that its author can answer.")
    write_report(report, state=ReportState.SET_ASIDE, state_reason=reason)
    tell(report, "report.set-aside", actor=by, reason=reason)
    return report


@transaction.atomic
def restore(
    *, report: Report, by: Account, reason: str, expected_version: int | None = None, waits: bool = False
) -> Report:
    """Let a report that was set aside count again; or wait again, where it did before."""
    _hold_for_moderator(report, by, (ReportState.SET_ASIDE,), expected_version)
    reason = _reason(reason, "State why it counts again.")
    write_report(report, state=ReportState.WAITING if waits else ReportState.SUBMITTED, state_reason="")
    tell(report, "report.waits-again" if waits else "report.restored", actor=by, reason=reason)
    return report


def _hold_for_moderator(
    report: Report, by: Account, states: Collection[str], expected_version: int | None
) -> None:
    if not by.moderates:
        raise NotAllowed(
            Problem(
                code="not-a-moderator",
                field="by",
                value=by.name,
                says=f"{by.name} is no moderator.",
                remedy="Ask a moderator to look at this report.",
            )
        )
    hold_report(report, states=states, expected_version=expected_version)
    if report.author_id == by.pk:
        raise NotAllowed(
            Problem(
                code="own-report",
                field="report",
                value=report.public_id,
                says="Nobody decides on their own report.",
                remedy="Ask another moderator, or withdraw it yourself.",
            )
        )


def _reason(reason: str, remedy: str) -> str:
    reason = reason.strip() if isinstance(reason, str) else ""
    if not reason or len(reason) > 300:
        says = f"The reason has {len(reason)} characters." if reason else "The reason is missing."
        remedy = "Shorten it to 300 characters." if reason else remedy
        raise InvalidInput(
            Problem(code="reason-needed", field="reason", value=reason[:60], says=says, remedy=remedy)
        )
    return reason
