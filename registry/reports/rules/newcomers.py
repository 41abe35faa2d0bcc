"""Whose reports count at once, and who may confirm a newcomer's."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from registry.accounts.models import Account
from registry.accounts.queries import block_in_force
from registry.reports.models import Report, ReportState

NEW_FOR = timedelta(days=30)


def is_newcomer(account: Account) -> bool:
    """An account of fewer than thirty days none of whose reports counts yet. Who moderates is none."""
    new = account.joined_at > timezone.now() - NEW_FOR
    return new and not account.moderates and not _has_counting_report(account)


def may_confirm(account: Account, report: Report) -> bool:
    """Whether an account may say that a waiting report reads like a test: a moderator, or someone with a counting
    report of their own and no block; nobody their own."""
    if report.state != ReportState.WAITING or account.pk in (None, report.author_id) or not account.is_active:
        return False
    return account.moderates or (_has_counting_report(account) and block_in_force(account) is None)


def _has_counting_report(account: Account) -> bool:
    return Report.objects.filter(author=account, state=ReportState.SUBMITTED).exists()
