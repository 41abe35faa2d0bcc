"""Who did what in the event log, named as this installation's privacy setting lets everyone know."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.conf import settings

from registry.accounts.models import Account


@dataclass(frozen=True)
class Actor:
    """Who did something. named: whether everyone may know who; else the name is only their role."""

    name: str
    named: bool


def actors_of(actors: Iterable[str]) -> dict[str, Actor]:
    """By public id, as far as the accounts are still there."""
    accounts = Account.objects.filter(public_id__in=set(actors) - {""})
    return {account.public_id: Actor(name_of(account), is_named(account)) for account in accounts}


def names_of(actors: Iterable[str]) -> dict[str, str]:
    """By public id: the name, or for those who moderate only their role where moderators are not named."""
    return {public_id: actor.name for public_id, actor in actors_of(actors).items()}


def name_of(account: Account) -> str:
    return account.name if is_named(account) else f"a {account.role}"


def is_named(account: Account) -> bool:
    return settings.DECISIONS_NAME_MODERATORS or not account.moderates
