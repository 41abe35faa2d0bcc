"""What watching does when the ledger tells of an event, and what recurs."""

from registry.accounts.models import Account
from registry.ledger.models import Event
from registry.ledger.retries import retried_task
from registry.watching import services
from registry.watching.models import MailChoice, Rhythm
from registry.watching.queries import to_be_mailed_at_once


@retried_task()
def tell_concerned(sequence: int) -> None:
    """A standing changed: tell those whom the lens concerns. Running it again tells nobody twice.

    Where everything was worked out anew, many lenses may change together: their notices wait for the hourly
    letter instead of going out one by one.
    """
    event = Event.objects.get(sequence=sequence)
    notices = services.tell_of_change(event)
    if event.data.get("cause_event") is not None:
        _enqueue_letters(notices)


@retried_task()
def tell_author(sequence: int) -> None:
    """A report was questioned, set aside or restored: tell its author."""
    _enqueue_letters(services.tell_author(Event.objects.get(sequence=sequence)))


@retried_task()
def tell_accounts(sequence: int) -> None:
    """Something was decided about accounts, or about what they appealed against: tell them."""
    _enqueue_letters(services.tell_accounts(Event.objects.get(sequence=sequence)))


@retried_task()
def tell_proposer(sequence: int) -> None:
    """Gear was listed, refused, or merged as a double: tell who had proposed it."""
    _enqueue_letters(services.tell_proposer(Event.objects.get(sequence=sequence)))


def _enqueue_letters(notices) -> None:
    for notice in notices:
        if notice.mail_due:
            mail_notices.enqueue(notice.account_id)


@retried_task()
def mail_notices(account_id: int) -> None:
    services.mail_notices(Account.objects.get(pk=account_id))


@retried_task()
def send_digest(choice_id: int) -> None:
    for choice in MailChoice.objects.filter(pk=choice_id):
        services.send_digest(choice)


@retried_task()
def send_mail_due() -> None:
    """Recurring: letters that wait, and digests whose day or week is over."""
    for account in to_be_mailed_at_once():
        mail_notices.enqueue(account.pk)
    for choice in MailChoice.objects.exclude(digest=Rhythm.NEVER):
        send_digest.enqueue(choice.pk)
