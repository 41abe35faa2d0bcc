"""What waits in the catalogue, and what became of one piece of gear."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from registry.errors import NotFound, Problem
from registry.gear.models import GearItem, GearStatus, Merge
from registry.gear.queries import MODELS, former_slugs, kind_of
from registry.ledger.models import Event
from registry.moderation.queries.log import names_of
from registry.reports.models import Report

EVENT_WORDS = {
    "gear.proposed": "proposed",
    "gear.listed": "taken into the catalogue",
    "gear.refused": "refused as a proposal",
    "gear.completed": "facts completed",
    "gear.source-added": "a source added",
    "gear.merged": "a double merged into it",
    "gear.merge-taken-back": "a merge taken back",
    "gear.set-apart": "told apart from another",
}


@dataclass(frozen=True)
class Step:
    """One thing that happened to a piece of gear. by: the name of who did it, empty for the registry itself."""

    event: Event
    words: str
    by: str


def proposals() -> list[GearItem]:
    """Gear that waits to be listed, the oldest first."""
    rows = [
        item
        for model in MODELS.values()
        for item in model.objects.filter(status=GearStatus.PROPOSED).select_related("maker", "proposed_by")
    ]
    return sorted(rows, key=lambda item: item.created_at)


def merges() -> QuerySet[Merge]:
    """Every merge, those taken back too, newest first."""
    return Merge.objects.select_related("by", "taken_back_by").defer("log")


def merge_by_number(number: int) -> Merge:
    """Raises NotFound."""
    merge = Merge.objects.filter(pk=number).first()
    if merge is None:
        raise NotFound(
            Problem(
                code="unknown-merge",
                field="merge",
                value=number,
                says=f"There is no merge number {number}.",
                remedy="Look it up in the list of merges.",
            )
        )
    return merge


def reports_naming(items: Iterable[GearItem]) -> dict[GearItem, int]:
    """How many reports name each."""
    return {item: Report.objects.filter(_naming(item)).count() for item in items}


def history_of_gear(item: GearItem) -> list[Step]:
    """What happened to a piece of gear, and to the doubles that were merged into it, newest first."""
    slugs = [item.slug, *former_slugs(item)]
    events = list(
        Event.objects.filter(subject_kind=kind_of(item), subject_id__in=slugs, name__in=EVENT_WORDS).order_by(
            "-sequence"
        )
    )
    names = names_of(event.actor for event in events)
    return [Step(event, EVENT_WORDS[event.name], names.get(event.actor, "")) for event in events]


def _naming(item: GearItem) -> Q:
    name = kind_of(item)
    return Q(**{name: item}) | Q(rig__body=item) if name == "body" else Q(**{name: item})
