"""Who did what in the event log, named as this installation's privacy setting lets everyone know."""

from __future__ import annotations

from collections.abc import Iterable

from django.conf import settings

from registry.accounts.models import Account


def names_of(actors: Iterable[str]) -> dict[str, str]:
    """By public id: the name, or for those who moderate only their role where moderators are not named."""
    accounts = Account.objects.filter(public_id__in=set(actors) - {""})
    return {account.public_id: name_of(account) for account in accounts}


def name_of(account: Account) -> str:
    named = settings.DECISIONS_NAME_MODERATORS or not account.moderates
    return account.name if named else f"a {account.role}"
