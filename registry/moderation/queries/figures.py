"""How the registry fares: figures of today, and as they were noted day by day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from statistics import median
from typing import Any

from django.utils import timezone

from registry.consensus.descriptive import registry_agreement
from registry.consensus.evidence import Lens, Report
from registry.moderation.models import Act, DayFigures, Decision
from registry.moderation.rules import DECIDING
from registry.standings.models import Conflict, Standing
from registry.standings.queries.batches import evidence_of_all
from registry.standings.queries.evidence import usable_entries

LOOKED_BACK = timedelta(days=90)
ENOUGH_VOICES = 3
ROWS_SHOWN = 12
# A question settles nothing.
SETTLING = [act for act in DECIDING if act != Act.ASK]


def figures_now() -> dict[str, Any]:
    """Today's figures but for the reliability, which needs all evidence."""
    stated = Standing.objects.filter(n_independent__gt=0)
    total = stated.count()
    founded = stated.filter(n_independent__gte=ENOUGH_VOICES).count()
    return {
        "open_conflicts": Conflict.objects.filter(open=True).count(),
        "median_days": _median_days(),
        "well_founded": founded / total if total else None,
    }


def reliability_now() -> float | None:
    """Krippendorff's α (ordinal) of all grades that count; reads every counting report."""
    return registry_agreement(_usable_evidence())


def _usable_evidence() -> Iterator[tuple[Lens, Sequence[Report]]]:
    for path, entries in evidence_of_all():
        optics = path.optics(reading.f_number for entry in entries for reading in entry.readings)
        yield optics, usable_entries(entries, optics)[0]


def figures_over_time() -> list[DayFigures]:
    """At most twelve noted days, newest first: the latest, and one a week before it."""
    found: list[DayFigures] = []
    last: date | None = None
    for row in DayFigures.objects.all()[: 7 * ROWS_SHOWN]:
        if last is None or last - row.day >= timedelta(days=7):
            found.append(row)
            last = row.day
    return found[:ROWS_SHOWN]


def _median_days() -> float | None:
    """From a conflict's opening to the first decision on it that took effect, of those that did so lately."""
    firsts: dict[int, datetime] = {}
    for conflict, at in [*_decided_at_once(), *_agreed_to()]:
        firsts[conflict] = min(at, firsts.get(conflict, at))
    lately = timezone.now() - LOOKED_BACK
    opened = Conflict.objects.filter(pk__in=[pk for pk, at in firsts.items() if at > lately])
    spans = [(firsts[pk] - at).total_seconds() / 86400 for pk, at in opened.values_list("pk", "opened_at")]
    return median(spans) if spans else None


def _decided_at_once() -> Iterable[tuple[int, datetime]]:
    settling = Decision.objects.filter(conflict__isnull=False, act__in=SETTLING, proposed=False)
    return settling.order_by().values_list("conflict", "at")


def _agreed_to() -> Iterable[tuple[int, datetime]]:
    """Proposals, at the time at which someone else agreed to them."""
    agreed = Decision.objects.filter(act__in=(Act.APPROVE, Act.CONSENT), about__act__in=SETTLING)
    return agreed.filter(about__conflict__isnull=False).order_by().values_list("about__conflict", "at")
