"""The whole catalogue's evidence, a few lenses at a time: however much there is, little is held at once."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Count

from registry.consensus import evidence
from registry.gear.models import Lens
from registry.reports.models import Report, ReportState
from registry.standings.queries.evidence import counting_reports, evidence_by_path
from registry.standings.rules import LightPath

LENSES_AT_ONCE = 25
REPORTS_AT_ONCE = 1_000  # of several lenses; one lens's are read together, however many


def evidence_of_all() -> Iterator[tuple[LightPath, list[evidence.Report]]]:
    """As evidence_by_path, of every lens, in the order of their slugs."""
    for lenses in lens_batches():
        paths = evidence_by_path(counting_reports(*lenses))
        yield from sorted(paths.items(), key=lambda item: (item[0].lens.slug, item[0].glass))


def lens_batches() -> Iterator[list[Lens]]:
    """Lenses with reports that count, a few at a time, in the order of their slugs."""
    of_state = Report.objects.filter(state=ReportState.SUBMITTED).order_by("lens__slug")
    counted = of_state.values_list("lens").annotate(count=Count("pk"))
    batch: list[int] = []
    held = 0
    for lens, count in counted:
        if batch and (len(batch) == LENSES_AT_ONCE or held + count > REPORTS_AT_ONCE):
            yield _lenses_of(batch)
            batch, held = [], 0
        batch.append(lens)
        held += count
    if batch:
        yield _lenses_of(batch)


def _lenses_of(keys: list[int]) -> list[Lens]:
    return list(Lens.objects.filter(pk__in=keys).select_related("maker").order_by("slug"))
