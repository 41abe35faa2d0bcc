"""Reading watches and notices: an account's own, and whom a lens concerns."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from registry.accounts.models import Account
from registry.bags.models import BagLens
from registry.errors import NotFound, Problem
from registry.gear.models import Lens
from registry.ledger.models import Event
from registry.reports.models import Report, ReportState
from registry.watching.changes import CHANGED, Change, change_events, told
from registry.watching.models import MailChoice, Notice, NoticeMail, Scope, Watch, Why
from registry.watching.rules import TOLD_TO_AUTHORS

REPORTED_IN = (ReportState.SUBMITTED, ReportState.SET_ASIDE)
SAYS = {
    "report.questioned": "A moderator has a question about your report",
    "report.set-aside": "Your report was set aside and no longer counts",
    "report.confirmed": "Your report was confirmed and counts",
    "report.restored": "Your report counts again",
    "report.picture-withheld": "A picture of your report was flagged and is hidden until a moderator has looked at it",
    "report.picture-shown-again": "A picture of your report was looked at and is shown again",
    "report.corrected": "A moderator corrected the gear that your report names",
    "voices.joined": "Your tests and another account’s are counted as one person’s; you can answer, and appeal",
    "voices.parted": "Your tests count by themselves again",
    "account.blocked": "Your account submits nothing for now; you can appeal",
    "account.block-lifted": "Your account may submit again",
    "appeal.answered": "Your appeal was answered",
    "gear.listed": "What you proposed is in the catalogue",
    "gear.refused": "What you proposed was refused",
    "gear.merged": "What you proposed was in the catalogue under another name, and is one with it now",
}
APPEALED_TO = frozenset({"voices.joined", "account.blocked", "appeal.answered"})


@dataclass(frozen=True)
class NoticeTold:
    """A notice in words. change: the standings that moved, or None; report: the one it is about, or None. appeals:
    whether the page of one's appeals says more."""

    notice: Notice
    title: str
    reason: str
    lens: Lens | None
    change: Change | None = None
    report: Report | None = None
    appeals: bool = False


def watches_of(account: Account) -> QuerySet[Watch]:
    return Watch.objects.filter(account=account).select_related("lens__maker")


def watch_of(account: Account, lens: Lens) -> Watch:
    """Raises NotFound when the account doesn't watch the lens."""
    watch = watches_of(account).filter(lens=lens).first()
    if watch is None:
        raise NotFound(
            Problem(
                code="unknown-watch",
                field="lens",
                value=lens.slug,
                says=f"You don’t watch {lens}.",
                remedy="See the list of your watches.",
            )
        )
    return watch


def is_watching(account: Account, lens: Lens) -> bool:
    return Watch.objects.filter(account=account, lens=lens).exists()


def mail_choice_of(account: Account) -> MailChoice:
    """How an account is written to; the usual way, unsaved, where it has not said."""
    return MailChoice.objects.filter(account=account).first() or MailChoice(account=account)


def concerned_with(lens: Lens) -> dict[int, Why]:
    """Active accounts that a lens concerns, by primary key, each with the strongest reason: reported on it, then
    has it in the bag, then watches it."""
    active = Account.objects.filter(is_active=True)
    reasons = (
        (Why.WATCHED, active.filter(watches__lens=lens)),
        (Why.IN_BAG, active.filter(bag__lenses__lens=lens)),
        (Why.REPORTED, active.filter(reports__lens=lens, reports__state__in=REPORTED_IN)),
    )
    return {pk: why for why, accounts in reasons for pk in accounts.values_list("pk", flat=True)}


def lenses_of(account: Account) -> QuerySet[Lens]:
    """The lenses that concern an account: watched, in its bag, or reported on by it."""
    concerning = (
        Watch.objects.filter(account=account),
        BagLens.objects.filter(bag__owner=account),
        Report.objects.filter(author=account, state__in=REPORTED_IN),
    )
    mine = Q()
    for rows in concerning:
        mine |= Q(pk__in=rows.order_by().values("lens_id"))
    return Lens.objects.filter(mine)


def notices_of(account: Account) -> QuerySet[Notice]:
    """An account's notices, newest first, with their events."""
    return Notice.objects.filter(account=account).select_related("event")


def unread_count(account: Account) -> int:
    return Notice.objects.filter(account=account, read_at__isnull=True).count()


def notices_told(notices: Iterable[Notice]) -> list[NoticeTold]:
    """Notices in words, in their order; those about a lens that is no longer in the catalogue say only that."""
    notices = list(notices)
    changes = {
        change.sequence: change
        for change in told(notice.event for notice in notices if notice.event.name == CHANGED)
    }
    about = [notice.event.subject_id for notice in notices if notice.event.name in TOLD_TO_AUTHORS]
    reports = {
        report.public_id: report
        for report in Report.objects.filter(public_id__in=about).select_related("lens__maker")
    }
    lenses = _lenses_named(notice.event for notice in notices if notice.why == Why.PROPOSED)
    return [_told(notice, changes, reports, lenses) for notice in notices]


def _lenses_named(events: Iterable[Event]) -> dict[str, Lens]:
    slugs = [event.subject_id for event in events if event.subject_kind == "lens"]
    return {lens.slug: lens for lens in Lens.objects.filter(slug__in=slugs).select_related("maker")}


def _told(
    notice: Notice, changes: dict[int, Change], reports: dict[str, Report], lenses: dict[str, Lens]
) -> NoticeTold:
    event: Event = notice.event
    if event.name == CHANGED:
        change = changes.get(event.sequence)
        if change is None:
            return NoticeTold(notice, "A lens that has left the catalogue changed its standing", "", None)
        return NoticeTold(notice, change.title, change.cause, change.lens, change)
    report = reports.get(event.subject_id)
    named = report.lens if report else event.data.get("name")
    said = SAYS[event.name] + (f": {named}" if named else "")
    reason = event.data.get("reason") or event.data.get("question") or ""
    lens = report.lens if report else lenses.get(event.subject_id)
    return NoticeTold(notice, said, reason, lens, None, report, event.name in APPEALED_TO)


def digest_changes(choice: MailChoice, until: datetime) -> list[Change]:
    """What an account's next digest tells: changes since its last, newest first."""
    lenses = None if choice.scope == Scope.ALL else lenses_of(choice.account)
    return told(change_events(lenses=lenses, since=choice.digest_from, until=until))


def waiting_notices(account: Account, *, in_digest: bool) -> QuerySet[Notice]:
    """Notices still to be mailed. in_digest: those of events that the digest doesn't list as changes anyway."""
    due = notices_of(account).filter(mail_due=True)
    return due.exclude(event__name=CHANGED) if in_digest else due


def to_be_mailed_at_once() -> QuerySet[Account]:
    """Active accounts with notices that wait, and that don't wait for a digest."""
    waiting = Notice.objects.filter(mail_due=True).values("account_id")
    return Account.objects.filter(pk__in=waiting, is_active=True).exclude(
        mail_choice__notices__in=(NoticeMail.DIGEST, NoticeMail.NONE)
    )
