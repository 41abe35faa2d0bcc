"""Naming gear safely while it may be merged: whoever writes what names gear holds it, and a merge gives way.

PostgreSQL checks foreign keys only at the end of a transaction (Django makes them deferred), so that a row that names
gear which a merge takes away meanwhile would be refused then, out of the writer's reach. Held gear stays until the
writer is done (FOR KEY SHARE, PostgreSQL 15, 13.3.2: any number may hold it, and only who deletes it waits). On SQLite
the writer is alone from its first statement on: there it is enough to look whether the gear is still there.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterable
from functools import wraps
from typing import Any, ParamSpec, TypeVar

from django.db import OperationalError, connection, transaction

from registry.errors import Conflict, Problem
from registry.gear.models import GearItem
from registry.gear.queries import gear_now, kind_of

Item = TypeVar("Item", bound=GearItem)
P, R = ParamSpec("P"), TypeVar("R")
# Less than the second after which PostgreSQL looks for deadlocks, so that of two who wait for each other it is always
# the merge that begins again.
PATIENCE = "200ms"
PAUSES_SECONDS = (0.05, 0.1, 0.2, 0.4, 0.8, 1.6)
GAVE_WAY = ("55P03", "40P01")  # PostgreSQL: lock_not_available, deadlock_detected


def hold_gear(items: Iterable[GearItem]) -> dict[GearItem, GearItem]:
    """Keep gear from being merged away until this transaction is over. Call it inside one, before what names gear is
    written. Returns, for each item, itself or the one that stands for it by now. Raises NotFound for what was removed
    altogether."""
    now = {item: item for item in items}
    waiting = set(now)
    while waiting:
        gone = waiting - _held_rows(waiting)
        moved = {item: gear_now(kind_of(item), item.slug) for item in gone}
        now = {named: moved.get(meant, meant) for named, meant in now.items()}
        waiting = set(moved.values())
    return now


def held(item: Item) -> Item:
    """As hold_gear, for one."""
    return hold_gear([item])[item]


def hold_those_left(items: Collection[Item]) -> list[Item]:
    """As hold_gear, but only what is still there under its own row: for work that another event does anew for the one
    that stands for it."""
    left = _held_rows(items)
    return [item for item in items if item in left]


def held_to_change(item: Item) -> Item:
    """Lock a piece of gear for a change of its own facts, or the one that stands for it by now, and read it afresh."""
    while True:
        row = type(item)._base_manager.select_for_update(no_key=True).filter(pk=item.pk).first()
        if row is not None:
            return row
        item = gear_now(kind_of(item), item.slug)


def gives_way(work: Callable[P, R]) -> Callable[P, R]:
    """Run what takes gear away in a transaction that never makes writers wait for long: it begins again instead.

    Inside another transaction only the outer one can begin again. Raises Conflict when it finds no moment.
    """

    @wraps(work)
    def run(*args: P.args, **named: P.kwargs) -> R:
        if connection.in_atomic_block:
            return _impatient(work, args, named)
        for pause in PAUSES_SECONDS:
            try:
                with transaction.atomic():
                    return _impatient(work, args, named)
            except OperationalError as error:
                if getattr(error.__cause__, "sqlstate", "") not in GAVE_WAY:
                    raise
                time.sleep(pause)
        raise Conflict(
            Problem(
                code="gear-in-use",
                field="gear",
                says="Others are writing about this gear just now.",
                remedy="Try again in a minute.",
            )
        )

    return run


def _impatient(work: Callable[..., R], args: tuple, named: dict[str, Any]) -> R:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(f"SET LOCAL lock_timeout = '{PATIENCE}'")
    return work(*args, **named)


def _held_rows(items: Collection[GearItem]) -> set[GearItem]:
    """Those that are still there, held."""
    still: set[GearItem] = set()
    for model in {type(item) for item in items}:
        own = {item.pk: item for item in items if type(item) is model}
        still |= {own[pk] for pk in _hold(model, sorted(own))}
    return still


def _hold(model: type[GearItem], pks: list[int]) -> list[int]:
    if connection.vendor != "postgresql":
        return list(model._base_manager.filter(pk__in=pks).values_list("pk", flat=True))
    table = connection.ops.quote_name(model._meta.db_table)
    with connection.cursor() as cursor:
        # The ORM knows no FOR KEY SHARE.
        cursor.execute(f"SELECT id FROM {table} WHERE id = ANY(%s) ORDER BY id FOR KEY SHARE", [pks])
        return [pk for (pk,) in cursor.fetchall()]
