"""Telling followers of many events: enqueuing them one by one would hold up whoever recorded the events."""

from collections.abc import Sequence

from django.db import transaction
from django.utils.module_loading import import_string

from registry.ledger.retries import retried_task
from registry.ledger.services import followers_of


@retried_task(priority=1)
@transaction.atomic
def tell_followers(name: str, sequences: Sequence[int]) -> None:
    """Enqueue the followers of events of one name, all or none of them."""
    for path in followers_of(name):
        for sequence in sequences:
            import_string(path).enqueue(sequence)
