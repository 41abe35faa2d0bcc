"""Turning the names by which a report refers to gear and equipment into the rows they mean."""

from __future__ import annotations

from typing import Any

from django.db.models import Model

from registry.accounts.models import Account
from registry.gear import queries as gear
from registry.gear.models import Adapter, Body, Filter, Lens, Teleconverter
from registry.gear.names import comparable
from registry.reports.models import Copy, Rig
from registry.reports.rules.inputs import Input

_CALLED = {
    Lens: "lens",
    Body: "body",
    Filter: "filter",
    Teleconverter: "teleconverter",
    Adapter: "adapter",
}


def gear_item(source: Input, name: str, kind: type[Model]) -> Any | None:
    """The piece of gear that a field names: an instance, a slug, or a name as people write it.

    An unknown name is a problem that offers the nearest known ones and adding it.
    """
    value = source.content.get(name)
    if value in (None, "") or isinstance(value, kind):
        return value or None
    found = _by_slug(kind, str(value)) or _by_name(kind, str(value))
    if found is None:
        near = _nearest(kind, str(value))
        meant = f"Did you mean {' or '.join(near)}? Otherwise add it" if near else "Add it"
        source.refuse(
            f"unknown-{_CALLED[kind]}",
            name,
            value,
            f"The registry has no {_CALLED[kind]} “{value}”.",
            f"{meant} to the catalogue, then go on.",
        )
    return found


def own_thing(source: Input, name: str, kind: type[Rig] | type[Copy], owner: Account) -> Any | None:
    """A contributor's own rig or copy, by instance or public id; other people's are refused."""
    value = source.content.get(name)
    holder = "owner" if kind is Rig else "holder"
    if not isinstance(value, kind):
        value = kind.objects.filter(public_id=str(value)).first()
    if value is not None and getattr(value, f"{holder}_id") == owner.pk:
        return value
    called = kind.__name__.lower()
    source.refuse(
        f"unknown-{called}",
        name,
        source.content.get(name),
        f"You have no {called} “{source.content.get(name)}”.",
        "Name one of your own, or describe it here as an object to add it.",
    )
    return None


def _by_slug(kind: type[Model], slug: str) -> Any | None:
    """The one at an address, or the one that it was merged into."""
    found = kind._default_manager.filter(slug=slug).first()
    if found is None and (now := gear.where_now(_CALLED[kind], slug)):
        found = kind._default_manager.filter(slug=now).first()
    return found


def _by_name(kind: type[Model], written: str) -> Any | None:
    """The one item that is called so, with or without its maker, apart from case and punctuation."""
    if kind is Lens:
        return gear.match_exif_lens(written)
    wanted = comparable(written)
    near = gear.find_gear(_CALLED[kind], written, limit=25)
    whole = [item for item in near if comparable(str(item)) == wanted]
    named = whole or [item for item in near if comparable(item.name) == wanted]
    return named[0] if len(named) == 1 else None


def _nearest(kind: type[Model], written: str) -> list[str]:
    words = written.replace("-", " ")
    items = gear.nearest_lenses(words) if kind is Lens else gear.find_gear(_CALLED[kind], words, limit=3)
    return [f"“{item}”" for item in items[:3]]
