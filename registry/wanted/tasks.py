"""What the ranking does when the ledger tells of an event, and what recurs."""

from registry.gear.models import Lens
from registry.ledger.models import Event
from registry.ledger.retries import retried_task
from registry.reports.models import Report
from registry.wanted import services


@retried_task()
def rank_lens_anew(sequence: int) -> None:
    """A lens's standing changed: what one more report on it would teach has changed as well."""
    for lens in Lens.objects.filter(slug=Event.objects.get(sequence=sequence).data["lens"]):
        services.rank_wanted_tests(lens=lens)


@retried_task()
def fulfil_reservation(sequence: int) -> None:
    """A report came in: whoever had reserved that test has done it."""
    event = Event.objects.get(sequence=sequence)
    for report in Report.objects.filter(public_id=event.subject_id).select_related("author", "lens"):
        services.fulfil_reservation(report)


@retried_task()
def rank_what_is_wanted() -> None:
    """Recurring: count demand anew, rank, and close what has lapsed."""
    services.end_lapsed_reservations()
    services.forget_old_look_ups()
    services.rank_wanted_tests()
