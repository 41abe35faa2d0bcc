"""Whose reports count at once, which wait and for whom, and who may confirm a newcomer's."""

from __future__ import annotations

from datetime import timedelta

from django.db.models import QuerySet
from django.utils import timezone

from registry.accounts.models import Account
from registry.accounts.queries import block_in_force
from registry.gear.models import Lens
from registry.reports.models import Basis, Report, ReportState

NEW_FOR = timedelta(days=30)
# So many accounts that registered within a day of each other and report on one lens while they are new are a burst.
BURST_WITHIN = timedelta(hours=24)
BURST_OF = 3
HELD_IN_BURST = "several new accounts report on this lens at once: a moderator looks at them together"


def is_newcomer(account: Account) -> bool:
    """An account of fewer than thirty days none of whose reports counts yet. Who moderates is none."""
    new = account.joined_at > timezone.now() - NEW_FOR
    return new and not account.moderates and not _has_counting_report(account)


def why_it_waits(author: Account, lens: Lens, *, with_frames: bool) -> str | None:
    """Why a report of this author's would wait before it counts: "" for the confirmation that newcomers' reports
    without frames need, words where it is part of a burst. None where it counts at once."""
    if not is_newcomer(author):
        return None
    if len({author.pk, *registered_with(author, lens).values_list("pk", flat=True)}) >= BURST_OF:
        return HELD_IN_BURST
    return None if with_frames else ""


def registered_with(account: Account, lens: Lens) -> QuerySet[Account]:
    """Other accounts that registered within a day of this one, and tested the same lens within their first month."""
    around = (account.joined_at - BURST_WITHIN, account.joined_at + BURST_WITHIN)
    tested = Report.objects.filter(
        author__joined_at__range=around,
        lens=lens,
        basis__in=(Basis.MEASURED, Basis.GRADED),
        state__in=(ReportState.WAITING, ReportState.SUBMITTED, ReportState.SET_ASIDE),
    ).exclude(author=account)
    early = [
        author
        for author, joined, submitted in tested.values_list("author", "author__joined_at", "submitted_at")
        if submitted - joined <= NEW_FOR
    ]
    return Account.objects.filter(pk__in=early)


def may_confirm(account: Account, report: Report) -> bool:
    """Whether an account may say that a waiting report reads like a test: a moderator, or someone with a counting
    report of their own and no block; nobody their own. One that is part of a burst is for moderators."""
    if report.state != ReportState.WAITING or account.pk in (None, report.author_id) or not account.is_active:
        return False
    if account.moderates:
        return True
    held = report.state_reason == HELD_IN_BURST
    return not held and _has_counting_report(account) and block_in_force(account) is None


def _has_counting_report(account: Account) -> bool:
    return Report.objects.filter(author=account, state=ReportState.SUBMITTED).exists()
