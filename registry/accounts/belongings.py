"""What hangs on an account in every room: found by the database's own relations, so that no room need be asked.

A row that would go with its account (on_delete=CASCADE) is the person's own: addresses, tokens, second factors, bags,
watches, notices. A row that protects its account (on_delete=PROTECT) is part of the registry and stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from typing import Any

from django.db.models import CASCADE, ForeignObjectRel, Model

from registry.accounts.models import Account

# Secrets that nobody is told again, and what the API only remembers for a day.
SECRET = frozenset({"knox.authtoken", "mfa.authenticator", "api.idempotencykey"})
# What would tell one person about another.
ABOUT_OTHERS = frozenset({"moderation.voicesign"})
# What a steward did at the desk is the registry's own record.
KEPT = frozenset({"admin.logentry"})


def remove_belongings(account: Account) -> None:
    """Delete everything that is an account's own; to be called inside the transaction that closes it."""
    for relation in _relations(Account):
        if relation.on_delete is CASCADE and relation.related_model._meta.label_lower not in KEPT:
            relation.related_model._base_manager.filter(**{relation.field.name: account}).delete()


def belongings_of(account: Account, *, but_app: str = "") -> dict[str, list[dict[str, Any]]]:
    """Rows that name the account, by their kind, as plain data; without secrets, and without those of one app."""
    found: dict[str, list[dict[str, Any]]] = {}
    for relation in _relations(Account):
        model = relation.related_model
        if model._meta.label_lower in SECRET | ABOUT_OTHERS or model._meta.app_label == but_app:
            continue
        rows = model._base_manager.filter(**{relation.field.name: account})
        plain = [_plain(row, said_by=relation.field.name) for row in rows.order_by("pk")]
        if plain:
            found.setdefault(str(model._meta.verbose_name_plural), []).extend(plain)
    return found


def _relations(model: type[Model]) -> Iterator[ForeignObjectRel]:
    """Every foreign key that points at a model, nameless ones too."""
    for field in model._meta.get_fields(include_hidden=True):
        if isinstance(field, ForeignObjectRel) and not field.many_to_many and not field.concrete:
            yield field


def _plain(row: Model, *, said_by: str = "") -> dict[str, Any]:
    """A row with the rows that hang on it; other things are named as people call them."""
    told: dict[str, Any] = {}
    for field in row._meta.concrete_fields:
        if field.name == said_by or field.primary_key:
            continue
        value = getattr(row, field.name)
        told[field.name] = _told(value)
    for relation in _relations(type(row)):
        if relation.on_delete is CASCADE:
            inner = relation.related_model._base_manager.filter(**{relation.field.name: row})
            if children := [_plain(child, said_by=relation.field.name) for child in inner.order_by("pk")]:
                told[str(relation.related_model._meta.verbose_name_plural)] = children
    return told


def _told(value: Any) -> Any:
    if isinstance(value, datetime | date):
        return value.isoformat()
    if value is None or isinstance(value, str | int | float | bool | list | dict):
        return value
    return str(value)
