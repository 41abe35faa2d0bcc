"""How many lenses each choice of each filter would leave, beside all the other filters as they are set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from django.db.models import Count, QuerySet

from registry.consensus.verdicts import CONFIDENCES
from registry.gear.models import Lens, Mount
from registry.optics.stops import FULL_STOPS
from registry.standings.queries.leads import Leads, leads_at
from registry.standings.queries.lookup import (
    KINDS,
    UNTESTED,
    Criteria,
    condition,
    found_by_name,
    passing,
)

CLEAN_TO = tuple(float(stop.mark) for stop in FULL_STOPS if 1 <= float(stop.mark) <= 32)


@dataclass(frozen=True)
class Choice:
    """One value of a filter, and how many lenses it would leave."""

    value: str | float
    count: int


@dataclass(frozen=True)
class Facets:
    """The choices of each filter by its name; total: lenses that pass all filters; without: those that would pass
    if a filter were not set, by its name."""

    total: int
    choices: Mapping[str, tuple[Choice, ...]]
    without: Mapping[str, int]


def facets_of(criteria: Criteria) -> Facets:
    """Counts beside each choice: one statement a filter, however many its choices and the lenses are."""
    leads, found = leads_at(criteria.group, criteria.visible_ev), found_by_name(criteria.search)

    def others(name: str) -> QuerySet[Lens]:
        """The lenses that pass every filter but this one."""
        return passing(replace(criteria, **{name: None}), leads, found).order_by()

    values = {
        "mount": tuple(Mount.objects.values_list("slug", flat=True)),
        "kind": KINDS,
        "clean_to": CLEAN_TO,
        "confidence": tuple(reversed(CONFIDENCES)),
        "untested": UNTESTED,
    }
    choices: dict[str, tuple[Choice, ...]] = {}
    without: dict[str, int] = {}
    for name, options in values.items():
        choices[name], without[name] = _counted(others(name), name, options, leads)
    choices["thread"] = _threads(others("thread"))
    without["thread"] = others("thread").count()
    return Facets(passing(criteria, leads, found).count(), choices, without)


def _counted(
    lenses: QuerySet[Lens], name: str, options: tuple, leads: Leads
) -> tuple[tuple[Choice, ...], int]:
    counts = {
        f"option_{place}": Count("pk", filter=condition(name, option, leads))
        for place, option in enumerate(options)
    }
    found = lenses.aggregate(every=Count("pk"), **counts)
    made = tuple(Choice(option, found[f"option_{place}"]) for place, option in enumerate(options))
    return made, found["every"]


def _threads(lenses: QuerySet[Lens]) -> tuple[Choice, ...]:
    """The threads that there are, with their counts, the narrowest first."""
    threads = lenses.filter(filter_thread_mm__isnull=False)
    counted = threads.values_list("filter_thread_mm").annotate(Count("pk")).order_by("filter_thread_mm")
    return tuple(Choice(thread, count) for thread, count in counted)
