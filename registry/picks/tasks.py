"""What picks do when the ledger tells of an event."""

from registry.ledger.models import Event
from registry.ledger.retries import retried_task
from registry.picks.services import forget_name


@retried_task()
def sign_anew(sequence: int) -> None:
    """An author is called otherwise now, or has left: lens pages must no longer show the former name."""
    forget_name(author_id=Event.objects.get(sequence=sequence).subject_id)
