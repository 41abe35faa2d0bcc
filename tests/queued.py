"""Tasks that tests enqueue; a queue needs them at an importable place."""

from registry.errors import InvalidInput, Problem
from registry.ledger.retries import retried_task

CALLS: list = []
GIVEN_UP: list = []
FAILURES: list[Exception] = []


def give_up_note(word, *, mark=""):
    GIVEN_UP.append((word, mark))


@retried_task(attempts=3, give_up=give_up_note)
def take_note(word, *, mark=""):
    """Fails with whatever FAILURES holds, first one first; then notes its arguments."""
    CALLS.append((word, mark))
    if FAILURES:
        raise FAILURES.pop(0)


@retried_task()
def refuse(word):
    CALLS.append((word, ""))
    raise InvalidInput(Problem(code="no", says=f"“{word}” is no word.", remedy="Send another."))


@retried_task()
def note_and_pass_on(count):
    CALLS.append((count, ""))
    if count:
        note_and_pass_on.enqueue(count - 1)


FOLLOWERS = {"lens.tested": ["tests.queued.take_note"]}
