"""Recording what happened, and telling those who follow it."""

from typing import Any, Protocol

from django.conf import settings
from django.db import connection
from django.utils import timezone
from django.utils.module_loading import import_string

from registry.ledger.hashing import FIRST_PREVIOUS_HASH, plain_json, seal
from registry.ledger.models import Event

# Any constant serves, if nothing else in the database takes an advisory lock of this number.
CHAIN_LOCK = 7_203_114_508


class Actor(Protocol):
    public_id: str


def record(
    name: str, *, actor: Actor | None, subject_kind: str, subject_id: str, data: dict[str, Any] | None = None
) -> Event:
    """Append one event inside the caller's transaction, and enqueue its followers in the same transaction:
    if the caller's change is undone, so are the event and the tasks.

    name: "subject.happened", such as "report.submitted". actor: None when the registry itself acts.
    Raises RuntimeError outside a transaction, ValueError or TypeError for data that JSON cannot hold.
    """
    if not connection.in_atomic_block:
        raise RuntimeError(f"record({name!r}) needs a transaction: call it from a service under atomic.")
    _lock_chain()
    last = Event.objects.order_by("-sequence").values_list("sequence", "hash").first()
    sequence, previous_hash = last or (0, FIRST_PREVIOUS_HASH)
    content = {
        "sequence": sequence + 1,
        "name": name,
        "at": timezone.now(),
        "actor": actor.public_id if actor else "",
        "subject_kind": subject_kind,
        "subject_id": str(subject_id),
        "data": plain_json(data or {}),
        "previous_hash": previous_hash,
    }
    event = Event.objects.create(**content, hash=seal(**content))
    for path in followers_of(name):
        import_string(path).enqueue(event.sequence)
    return event


def followers_of(name: str) -> list[str]:
    """Dotted paths of the tasks that follow events of this name, from the table the settings name."""
    return import_string(settings.LEDGER_FOLLOWERS).get(name, [])


def _lock_chain() -> None:
    """One writer at a time appends. SQLite's immediate transactions are already alone."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [CHAIN_LOCK])
