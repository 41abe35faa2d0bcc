"""Watching lenses, telling accounts what concerns them, and sending their mail."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account
from registry.errors import Conflict, Problem
from registry.gear.holding import held
from registry.gear.models import Lens
from registry.ledger.models import Event
from registry.reports.models import Report
from registry.watching.mails import account_behind, digest_letter, may_be_mailed, notice_letter
from registry.watching.models import MailChoice, Notice, NoticeMail, Rhythm, Scope, Watch, Why
from registry.watching.queries import (
    concerned_with,
    digest_changes,
    mail_choice_of,
    notices_of,
    notices_told,
    waiting_notices,
)
from registry.watching.rules import (
    WATCHES_PER_ACCOUNT,
    check_mail_choice,
    told_until,
    verdict_moved,
)


@transaction.atomic
def watch_lens(*, account: Account, lens: Lens) -> Watch:
    """Let an account hear of a lens; harmless when it does. Raises Conflict beyond 500 watches."""
    Account.objects.select_for_update(no_key=True).get(
        pk=account.pk
    )  # so that two at once can't both be the last allowed
    lens = held(lens)
    known = Watch.objects.filter(account=account, lens=lens).first()
    if known is not None:
        return known
    if Watch.objects.filter(account=account).count() >= WATCHES_PER_ACCOUNT:
        raise Conflict(
            Problem(
                code="too-many-watches",
                field="lens",
                value=lens.slug,
                says=f"You watch {WATCHES_PER_ACCOUNT} lenses already.",
                remedy="Stop watching one, or follow the feed of a whole mount.",
            )
        )
    return Watch.objects.create(account=account, lens=lens)


def unwatch_lens(*, account: Account, lens: Lens) -> None:
    """Harmless when the account doesn't watch it."""
    Watch.objects.filter(account=account, lens=lens).delete()


@transaction.atomic
def choose_mail(*, account: Account, notices: str, digest: str, scope: str = Scope.MINE) -> MailChoice:
    """Say how an account is written to. Raises InvalidInput for notices in a digest that never comes.

    What waited to be mailed the former way is not mailed any more; it stays on the notices page.
    """
    check_mail_choice(notices, digest)
    Account.objects.select_for_update(no_key=True).get(pk=account.pk)
    choice = mail_choice_of(account)
    if choice.digest != digest:
        choice.digest_from = timezone.now()
    if choice.notices != notices:
        Notice.objects.filter(account=account, mail_due=True).update(mail_due=False)
    choice.notices, choice.digest, choice.scope = notices, digest, scope
    choice.save()
    return choice


def stop_mail(*, token: str) -> Account:
    """End all mail to the account that a letter's link belongs to. Raises NotFound for a link not made here."""
    account = account_behind(token)
    choose_mail(account=account, notices=NoticeMail.NONE, digest=Rhythm.NEVER)
    return account


@transaction.atomic
def tell_of_change(event: Event) -> list[Notice]:
    """Notices of a changed verdict to whom the lens concerns, but not to the one whose own act changed it.
    Telling the same event again adds nothing."""
    lens = Lens.objects.filter(slug=event.data["lens"]).first()
    if lens is None or not verdict_moved(event.data["changes"]):
        return []
    cause = Event.objects.filter(pk=event.data.get("cause_event")).first()
    actor = cause.actor if cause else ""
    concerned = concerned_with(lens)
    for account in Account.objects.filter(public_id=actor) if actor else ():
        concerned.pop(account.pk, None)
    return _notify(event, concerned)


@transaction.atomic
def tell_author(event: Event) -> list[Notice]:
    """A notice to a report's author that it was questioned, set aside or restored."""
    report = Report.objects.filter(public_id=event.subject_id).select_related("author").first()
    if report is None or not report.author.is_active or report.author.public_id == event.actor:
        return []
    return _notify(event, {report.author_id: Why.AUTHOR})


@transaction.atomic
def tell_accounts(event: Event) -> list[Notice]:
    """Notices to the accounts that an event's data name, or that it is about."""
    named = event.data.get("accounts", [event.subject_id])
    accounts = Account.objects.filter(public_id__in=named, is_active=True)
    return _notify(event, dict.fromkeys(accounts.values_list("pk", flat=True), Why.ACCOUNT))


@transaction.atomic
def tell_proposer(event: Event) -> list[Notice]:
    """A notice to whoever proposed a piece of gear of what became of it, unless they did it themselves."""
    slug = event.data.get("former", event.subject_id)
    proposals = Event.objects.filter(name="gear.proposed", subject_kind=event.subject_kind, subject_id=slug)
    proposers = Account.objects.filter(public_id__in=proposals.values("actor"), is_active=True)
    others = proposers.exclude(public_id=event.actor)
    return _notify(event, dict.fromkeys(others.values_list("pk", flat=True), Why.PROPOSED))


def _notify(event: Event, concerned: dict[int, Why]) -> list[Notice]:
    told = set(Notice.objects.filter(event=event, account__in=concerned).values_list("account_id", flat=True))
    silent = set(
        MailChoice.objects.filter(account__in=concerned, notices=NoticeMail.NONE).values_list(
            "account_id", flat=True
        )
    )
    fresh = [
        Notice(account_id=pk, event=event, why=why, mail_due=pk not in silent)
        for pk, why in sorted(concerned.items())
        if pk not in told
    ]
    # Two workers may tell the same event at once: the constraint keeps one notice of each.
    Notice.objects.bulk_create(fresh, ignore_conflicts=True)
    return list(Notice.objects.filter(event=event).order_by("pk"))


def mark_read(*, account: Account, notice_id: int | None = None) -> int:
    """Mark one notice of one's own as read, or all; returns how many were unread."""
    unread = Notice.objects.filter(account=account, read_at__isnull=True)
    if notice_id is not None:
        unread = unread.filter(pk=notice_id)
    return unread.update(read_at=timezone.now())


@transaction.atomic
def mail_notices(account: Account) -> int:
    """Mail what waits for an account that is written to at once, in one letter; returns how many notices it tells.

    The rows are marked in the transaction that the letter is sent in: a letter that could not be sent is tried
    again, and one sent just before a crash may come twice.
    """
    account = Account.objects.select_for_update(no_key=True).get(pk=account.pk)
    waiting = waiting_notices(account, in_digest=False)
    if mail_choice_of(account).notices != NoticeMail.AT_ONCE:
        return 0
    told = notices_told(waiting)
    waiting.update(mail_due=False)
    if told and may_be_mailed(account):
        notice_letter(account, told).send()
    return len(told)


@transaction.atomic
def send_digest(choice: MailChoice, *, now: datetime | None = None) -> bool:
    """Send an account's digest if one is due; returns whether a letter went out. An empty span sends none."""
    choice = (
        MailChoice.objects.select_for_update(of=("self",), no_key=True)
        .select_related("account")
        .get(pk=choice.pk)
    )
    until = told_until(choice.digest_from, choice.digest, now or timezone.now())
    if until is None:
        return False
    changes = digest_changes(choice, until)
    notices = notices_told(waiting_notices(choice.account, in_digest=True))
    sending = bool(changes or notices) and may_be_mailed(choice.account)
    if sending:
        digest_letter(choice, changes, notices, until).send()
    if choice.notices == NoticeMail.DIGEST:
        notices_of(choice.account).filter(mail_due=True).update(mail_due=False)
    choice.digest_from = until
    choice.save(update_fields=["digest_from"])
    return sending
