"""What the standings do when an event tells them that evidence changed."""

from registry.gear.models import Lens
from registry.ledger.models import Event
from registry.ledger.retries import retried_task
from registry.reports.models import Report
from registry.standings.services import refresh_all, refresh_lens, renew_priors


@retried_task()
def refresh_for_report(sequence: int) -> None:
    """Refresh the lenses that the event with this sequence concerns: the report's lens now, and the one it named
    before an edit moved it. Running it again changes nothing."""
    event = Event.objects.get(sequence=sequence)
    slugs = {event.data.get("lens"), event.data.get("lens_before")} - {None}
    lenses = Lens.objects.filter(slug__in=slugs)
    if event.subject_kind == "report":
        lenses = lenses | Lens.objects.filter(
            pk__in=Report.objects.filter(public_id=event.subject_id).values("lens_id")
        )
    for lens in lenses.distinct().order_by("pk"):
        refresh_lens(lens, cause_event=sequence, cause=event.name)


@retried_task()
def renew_priors_and_standings() -> None:
    """Recurring: learn the priors anew from the whole catalogue, and state every standing under them."""
    renew_priors()
    refresh_all()
