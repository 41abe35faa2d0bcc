"""Recording what happened, telling those who follow it, and proving that the record is whole."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Protocol

from django.conf import settings
from django.db import connection
from django.utils import timezone
from django.utils.module_loading import import_string

from registry.errors import Problem
from registry.ledger.hashing import FIRST_PREVIOUS_HASH, plain_json, seal
from registry.ledger.models import Event
from registry.setwise import add_columns

# Any constant serves, if nothing else in the database takes an advisory lock of this number.
CHAIN_LOCK = 7_203_114_508
TELLING = "registry.ledger.tasks.tell_followers"


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
    _lock_chain(name)
    content = next(_sealed(name, actor, subject_kind, [(subject_id, data or {})]))
    event = Event.objects.create(**content)
    for path in followers_of(name):
        import_string(path).enqueue(event.sequence)
    return event


def record_all(
    name: str,
    *,
    actor: Actor | None,
    subject_kind: str,
    happened: Sequence[tuple[str, dict[str, Any]]],
    told_once_per: str,
) -> None:
    """Append one event for each of several things that happened alike, as record does for one.

    happened: each thing's id with its data. told_once_per: a member of data; of the events that are alike in it,
    followers are told of the last only; a task enqueues them.
    """
    if not happened:
        return
    _lock_chain(name)
    contents = list(_sealed(name, actor, subject_kind, happened))
    add_columns(Event, {part: [content[part] for content in contents] for part in contents[0]})
    last = {content["data"][told_once_per]: content["sequence"] for content in contents}
    if followers_of(name):
        import_string(TELLING).enqueue(name, list(last.values()))


def _sealed(
    name: str, actor: Actor | None, subject_kind: str, happened: Iterable[tuple[str, dict[str, Any]]]
) -> Iterator[dict[str, Any]]:
    """The columns of the events that come next in the chain."""
    last = Event.objects.order_by("-sequence").values_list("sequence", "hash").first()
    sequence, previous_hash = last or (0, FIRST_PREVIOUS_HASH)
    at = timezone.now()
    for subject_id, data in happened:
        sequence += 1
        content = {
            "sequence": sequence,
            "name": name,
            "at": at,
            "actor": actor.public_id if actor else "",
            "subject_kind": subject_kind,
            "subject_id": str(subject_id),
            "data": plain_json(data),
            "previous_hash": previous_hash,
        }
        previous_hash = seal(**content)
        yield content | {"hash": previous_hash}


def followers_of(name: str) -> list[str]:
    """Dotted paths of the tasks that follow events of this name, from the table the settings name."""
    return import_string(settings.LEDGER_FOLLOWERS).get(name, [])


def _lock_chain(name: str) -> None:
    """One writer at a time appends. SQLite's immediate transactions are already alone."""
    if not connection.in_atomic_block:
        raise RuntimeError(f"record({name!r}) needs a transaction: call it from a service under atomic.")
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [CHAIN_LOCK])


def verify(*, known: tuple[int, str] | None = None) -> list[Problem]:
    """Walk the chain from its first event and name every row that was changed, removed, added or moved.

    known: sequence and hash of an event noted down earlier. Only with it can it be seen that the newest
    rows were cut off, or that the whole chain was written anew.
    """
    problems: list[Problem] = []
    sequence, previous_hash = 0, FIRST_PREVIOUS_HASH
    for event in Event.objects.order_by("sequence").iterator(chunk_size=2000):
        if event.sequence != sequence + 1:
            problems.append(_missing(sequence + 1, event.sequence - 1))
        elif event.previous_hash != previous_hash:
            problems.append(_broken(event, "does not follow from the event before it"))
        if _seal_of(event) != event.hash:
            problems.append(_broken(event, "no longer matches its seal"))
        sequence, previous_hash = event.sequence, event.hash
    if known and not Event.objects.filter(sequence=known[0], hash=known[1]).exists():
        problems.append(_lost(known))
    return problems


def _seal_of(event: Event) -> str:
    fields = ("sequence", "name", "at", "actor", "subject_kind", "subject_id", "data", "previous_hash")
    return seal(**{field: getattr(event, field) for field in fields})


def _missing(first: int, last: int) -> Problem:
    gone = f"Event {first} is" if first == last else f"Events {first} to {last} are"
    return Problem(
        code="event-missing",
        field="sequence",
        value=first,
        says=f"{gone} missing from the event log.",
        remedy="Compare with the last backup that verifies, and find out who could write to the database.",
    )


def _broken(event: Event, how: str) -> Problem:
    return Problem(
        code="event-changed",
        field="sequence",
        value=event.sequence,
        says=f"Event {event.sequence} ({event.name}, {event.at:%Y-%m-%d %H:%M}) {how}.",
        remedy="Compare the row with the last backup that verifies.",
    )


def _lost(known: tuple[int, str]) -> Problem:
    return Problem(
        code="event-not-the-known-one",
        field="known",
        value=known[0],
        says=f"Event {known[0]} with the hash that was noted down is not in the event log.",
        remedy="The newest events were cut off, or the log was written anew: restore from a backup.",
    )
