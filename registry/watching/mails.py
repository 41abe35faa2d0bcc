"""Letters to an account: notices at once, and digests. Each carries a way to stop them in one step (RFC 8058)."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.conf import settings
from django.core import signing
from django.core.mail import EmailMessage
from django.template.loader import render_to_string
from django.urls import reverse

from registry.accounts.models import Account
from registry.accounts.queries import email_is_confirmed
from registry.errors import NotFound, Problem
from registry.watching.changes import Change
from registry.watching.models import MailChoice
from registry.watching.queries import NoticeTold

SALT = "registry.watching.stop-mail"


def may_be_mailed(account: Account) -> bool:
    """Only to an address that its owner has confirmed: nobody is written to because someone else named them."""
    return account.is_active and email_is_confirmed(account)


def address_of(name: str, *arguments: str) -> str:
    """The full address of a page."""
    return settings.PUBLIC_URL.rstrip("/") + reverse(name, args=arguments)


def stop_token(account: Account) -> str:
    """What stands in the address that stops all mail to an account; valid until the secret key changes."""
    return signing.dumps(account.public_id, salt=SALT)


def account_behind(token: str) -> Account:
    """The account whose mail a token stops. Raises NotFound for a token that was not made here."""
    try:
        public_id = signing.loads(token, salt=SALT)
    except signing.BadSignature:
        public_id = None
    account = Account.objects.filter(public_id=public_id).first() if public_id else None
    if account is None:
        raise NotFound(
            Problem(
                code="unknown-stop-link",
                field="token",
                value=token[:60],
                says="This link doesn't belong to any account's mail.",
                remedy="Copy the whole link from the letter, or sign in and choose under “Notices”.",
            )
        )
    return account


def notice_letter(account: Account, notices: Sequence[NoticeTold]) -> EmailMessage:
    first, *more = notices
    subject = first.title + (f" (and {len(more)} more)" if more else "")
    return _letter(account, subject, "watching/notices.txt", {"notices": notices})


def digest_letter(
    choice: MailChoice, changes: Sequence[Change], notices: Sequence[NoticeTold], until: datetime
) -> EmailMessage:
    count = len(changes)
    told = f"{count} change{'s' if count != 1 else ''}" if count else "news of your reports"
    subject = f"Cleanstop, {choice.digest} digest of {until:%d %B %Y}: {told}"
    context = {"changes": changes, "notices": notices, "choice": choice, "until": until}
    return _letter(choice.account, subject, "watching/digest.txt", context)


def _letter(account: Account, subject: str, template: str, context: dict) -> EmailMessage:
    stop = address_of("stop-mail", stop_token(account))
    shared = {
        "account": account,
        "stop": stop,
        "choose": address_of("mail-choice"),
        "site": settings.PUBLIC_URL,
    }
    return EmailMessage(
        subject=" ".join(subject.split()),
        body=render_to_string(template, context | shared),
        to=[account.email],
        headers={
            "List-Unsubscribe": f"<{stop}>",
            "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
            "Auto-Submitted": "auto-generated",
        },
    )
