"""Answering on a report: by its author, who was asked or set aside, and by the moderators they answer."""

from __future__ import annotations

from django.db import transaction

from registry.accounts.models import Account
from registry.errors import Conflict, NotAllowed, Problem
from registry.reports.models import Reply, Report
from registry.reports.rules.replies import ANSWERABLE, LONGEST_REPLY, REPLIES_PER_REPORT, may_reply
from registry.reports.rules.words import read_words
from registry.reports.services.holding import hold_report
from registry.reports.services.submission import tell


@transaction.atomic
def reply_on_report(*, report: Report, by: Account, says: str) -> Reply:
    """Say something on a report for everyone to read; it stays as it was said.

    Raises InvalidInput for nothing or over 2,000 characters, NotAllowed for anyone but its author and moderators,
    Conflict for a draft, a withdrawn report, or one with 100 replies.
    """
    hold_report(report, states=ANSWERABLE)
    if not may_reply(report, by):
        raise NotAllowed(
            Problem(
                code="not-your-report",
                field="report",
                value=report.public_id,
                says=f"Report {report.public_id} is {report.author}'s.",
                remedy="Only its author and moderators can reply on it.",
            )
        )
    says = read_words(
        says,
        field="says",
        called="reply",
        longest=LONGEST_REPLY,
        when_empty=("missing", "The reply is empty.", "Write what is to be said."),
    )
    if report.replies.count() >= REPLIES_PER_REPORT:
        raise Conflict(
            Problem(
                code="too-many-replies",
                field="says",
                value=REPLIES_PER_REPORT,
                says=f"Report {report.public_id} has {REPLIES_PER_REPORT} replies already.",
                remedy="Revise the report, so that it says itself what is to be known.",
            )
        )
    reply = Reply.objects.create(
        report=report, by=by, says=says, about=report.state, about_reason=report.state_reason
    )
    tell(report, "report.replied", actor=by, reply=reply.pk)
    return reply
