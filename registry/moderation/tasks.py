"""What recurs for moderators."""

from registry.ledger.retries import retried_task
from registry.moderation.services.figures import note_figures as note


@retried_task()
def note_figures() -> None:
    """Recurring: note how the registry fares today."""
    note()
