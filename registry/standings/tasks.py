"""What the standings do when an event tells them that evidence changed."""

from django.db.models import Q

from registry.accounts.models import Account
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
def refresh_for_voices(sequence: int) -> None:
    """Refresh the lenses that accounts of a voice tested, or that relays tell of their tests on."""
    event = Event.objects.get(sequence=sequence)
    accounts = Account.objects.filter(public_id__in=event.data["accounts"])
    told = Q(author__in=accounts)
    for name in accounts.values_list("name", flat=True):
        told |= Q(tester_name__iexact=name)
    lenses = Lens.objects.filter(pk__in=Report.objects.filter(told).values("lens_id"))
    for lens in lenses.order_by("pk"):
        refresh_lens(lens, cause_event=sequence, cause=event.name)


@retried_task()
def renew_priors_and_standings() -> None:
    """Recurring: learn the priors anew from the whole catalogue, and state every standing under them."""
    renew_priors()
    refresh_all()


# How a report names each kind of gear.
_NAMED_AS = {
    "lens": ("lens",),
    "body": ("body", "rig__body"),
    "filter": ("filter",),
    "teleconverter": ("teleconverter",),
    "adapter": ("adapter",),
}


@retried_task()
def refresh_for_gear(sequence: int) -> None:
    """Refresh the lenses whose reports name gear that the event with this sequence merged, or parted again."""
    event = Event.objects.get(sequence=sequence)
    slugs = [event.data["kept"], event.data["former"]]
    named = Q()
    for name in _NAMED_AS[event.subject_kind]:
        named |= Q(**{f"{name}__slug__in": slugs})
    lenses = Lens.objects.filter(pk__in=Report.objects.filter(named).values("lens_id"))
    if event.subject_kind == "lens":
        lenses |= Lens.objects.filter(slug__in=slugs)
    for lens in lenses.distinct().order_by("pk"):
        refresh_lens(lens, cause_event=sequence, cause=event.name)
