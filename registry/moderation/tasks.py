"""What recurs for moderators, and what is looked into when something comes in."""

from registry.accounts.addresses import forget_addresses as forget
from registry.ledger.models import Event
from registry.ledger.retries import retried_task
from registry.moderation.services.figures import note_figures as note
from registry.moderation.services.voices import forget_address_signs, look_for_one_voice
from registry.reports.models import Report


@retried_task()
def note_figures() -> None:
    """Recurring: note how the registry fares today."""
    note()


@retried_task()
def forget_addresses() -> None:
    """Recurring: delete codes of addresses, and what was seen by them, after 90 days."""
    forget()
    forget_address_signs()


@retried_task()
def look_at_voices(sequence: int) -> None:
    """A report came in or changed: see whether its author looks like another who tested the lens."""
    event = Event.objects.get(sequence=sequence)
    for report in Report.objects.filter(public_id=event.subject_id).select_related("author", "lens__maker"):
        look_for_one_voice(report.author, report.lens)
