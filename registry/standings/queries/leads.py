"""What lists sort and sift by: the standing of each bare lens's worst tested zone at one cut-on group.

At the usual tolerance it is stored, and the database sifts. At a reader's own tolerance it is computed: once per
state of a lens, since what was computed is kept under the fingerprint of the evidence it rests on.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from django.core.cache import cache
from django.db.models import Case, F, FilteredRelation, FloatField, IntegerField, Q, QuerySet, Value, When
from django.db.models.functions import Coalesce

from registry.consensus.assessment import assess_catalogue
from registry.consensus.cells import UNSTATED
from registry.consensus.constants import VISIBLE_EV
from registry.consensus.verdicts import CONFIDENCES
from registry.gear.models import Lens
from registry.standings.by_condition import stated_fields
from registry.standings.models import Standing
from registry.standings.queries.answers import unsaved_rows
from registry.standings.queries.evidence import counting_reports, evidence_by_path, usable_entries
from registry.standings.queries.priors import priors_in_force
from registry.standings.queries.split_paths import conditions_in_force
from registry.standings.queries.tints import tints_by_cell

KEPT_SECONDS = 24 * 60 * 60
LENSES_AT_ONCE = 500
NEVER_CLEAN_AV = -99.0  # sorts behind every lens that is clean somewhere
NOT_SURE = -1  # sorts behind every confidence


class Leads(Protocol):
    """Conditions and sort keys over lenses, by their leading standing in one cut-on group."""

    def attach(self, lenses: QuerySet[Lens]) -> QuerySet[Lens]: ...

    def clean_to(self, av: float) -> Q: ...

    def as_sure_as(self, confidence: str) -> Q: ...

    def tested(self) -> Q: ...

    def untested(self) -> Q: ...

    def limit(self) -> Coalesce | Case: ...

    def sureness(self) -> Case: ...


def leads_at(group: str, visible_ev: float) -> Leads:
    return StoredLeads(group) if visible_ev == VISIBLE_EV else OwnLeads(group, visible_ev)


def levels_from(confidence: str) -> tuple[str, ...]:
    """A level of confidence and those above it."""
    return CONFIDENCES[CONFIDENCES.index(confidence) :]


@dataclass(frozen=True)
class StoredLeads:
    """The stored standings, joined to each lens as `lead`."""

    group: str

    def attach(self, lenses: QuerySet[Lens]) -> QuerySet[Lens]:
        mine = Q(
            standings__leads=True,
            standings__cut_on_group=self.group,
            standings__teleconverter__isnull=True,
            standings__adapter__isnull=True,
        )
        return lenses.annotate(lead=FilteredRelation("standings", condition=mine))

    def clean_to(self, av: float) -> Q:
        return Q(lead__clean_to_av__gte=av)

    def as_sure_as(self, confidence: str) -> Q:
        return Q(lead__confidence__in=levels_from(confidence))

    def tested(self) -> Q:
        return Q(lead__isnull=False)

    def untested(self) -> Q:
        return Q(lead__isnull=True)

    def limit(self) -> Coalesce:
        return Coalesce(F("lead__clean_to_av"), Value(NEVER_CLEAN_AV), output_field=FloatField())

    def sureness(self) -> Case:
        return _ranked({level: Q(lead__confidence=level) for level in CONFIDENCES})


class OwnLeads:
    """The same at a reader's own tolerance, as sets of lenses that pass."""

    def __init__(self, group: str, visible_ev: float):
        self._leads = {
            pk: by_group[group] for pk, by_group in own_leads(visible_ev).items() if group in by_group
        }

    def attach(self, lenses: QuerySet[Lens]) -> QuerySet[Lens]:
        return lenses

    def clean_to(self, av: float) -> Q:
        return self._where(lambda limit, _: limit is not None and limit >= av)

    def as_sure_as(self, confidence: str) -> Q:
        return self._where(lambda _, level: level in levels_from(confidence))

    def tested(self) -> Q:
        return self._where(lambda *_: True)

    def untested(self) -> Q:
        return ~self.tested()

    def limit(self) -> Case:
        limits = sorted({limit for limit, _ in self._leads.values() if limit is not None})
        cases = [
            When(self._where(lambda own, _, limit=limit: own == limit), then=Value(limit)) for limit in limits
        ]
        return Case(*cases, default=Value(NEVER_CLEAN_AV), output_field=FloatField())

    def sureness(self) -> Case:
        return _ranked(
            {level: self._where(lambda _, own, level=level: own == level) for level in CONFIDENCES}
        )

    def _where(self, passes) -> Q:
        return Q(pk__in=[pk for pk, lead in self._leads.items() if passes(*lead)])


def _ranked(conditions: Mapping[str, Q]) -> Case:
    cases = [When(wanted, then=Value(CONFIDENCES.index(level))) for level, wanted in conditions.items()]
    return Case(*cases, default=Value(NOT_SURE), output_field=IntegerField())


Lead = tuple[float | None, str]  # Av up to which the verdict says clean, confidence


def own_leads(visible_ev: float) -> dict[int, dict[str, Lead]]:
    """For every lens with standings, its lead by cut-on group at a reader's own tolerance.

    Only lenses whose evidence, priors or facts have changed since they were last computed are computed again.
    """
    prints = dict(_bare_leads().order_by().values_list("lens", "fingerprint").distinct())
    key = f"leads-at:{visible_ev:g}"
    kept: dict[int, tuple[str, dict[str, Lead]]] = cache.get(key) or {}
    stale = [pk for pk, fingerprint in prints.items() if kept.get(pk, ("",))[0] != fingerprint]
    if stale:
        kept = {pk: found for pk, found in kept.items() if pk in prints}
        for start in range(0, len(stale), LENSES_AT_ONCE):
            part = stale[start : start + LENSES_AT_ONCE]
            leads: dict[int, dict[str, Lead]] = {pk: {} for pk in part}
            for row in computed_leads(Lens.objects.filter(pk__in=part), visible_ev):
                leads[row.lens_id][row.cut_on_group] = (row.clean_to_av, row.confidence)
            kept |= {pk: (prints[pk], by_group) for pk, by_group in leads.items()}
        cache.set(key, kept, KEPT_SECONDS)
    return {pk: kept[pk][1] for pk in prints if pk in kept}


def leading_rows(lenses: Iterable[Lens], group: str, visible_ev: float) -> list[Standing]:
    """The leading standings of these bare lenses in a cut-on group, and those that state no cut-on."""
    groups = (group, UNSTATED)
    stored = _bare_leads().filter(lens__in=lenses, cut_on_group__in=groups)
    if visible_ev == VISIBLE_EV:
        return list(stored)
    tested = dict(_bare_leads().filter(lens__in=lenses).order_by("lens").values_list("lens", "fingerprint"))
    state = hashlib.sha256(repr(sorted(tested.items())).encode()).hexdigest()
    key = f"lead-rows:{visible_ev:g}:{state}"
    rows = cache.get(key)
    if rows is None:
        rows = computed_leads(Lens.objects.filter(pk__in=tested), visible_ev)
        cache.set(key, rows, KEPT_SECONDS)
    return [row for row in rows if row.cut_on_group in groups]


def computed_leads(lenses: QuerySet[Lens], visible_ev: float) -> list[Standing]:
    """Leading standings of bare lenses at a tolerance (EV), computed from their reports and not stored."""
    return [row for row in computed_rows(lenses, visible_ev) if row.leads]


def computed_rows(lenses: Iterable[Lens], visible_ev: float) -> list[Standing]:
    """All standings of bare lenses at a tolerance (EV), computed from their reports and not stored."""
    lenses = list(lenses)
    reports = counting_reports(*lenses) if lenses else []
    paths = {path: entries for path, entries in evidence_by_path(reports).items() if path.is_bare}
    cases = [(optics := path.optics(), usable_entries(entries, optics)[0]) for path, entries in paths.items()]
    rows: list[Standing] = []
    priors, conditions = priors_in_force(), conditions_in_force()
    assessments = assess_catalogue(cases, priors, visible_ev)
    for path, (_, entries), assessment in zip(paths, cases, assessments, strict=True):
        tints = tints_by_cell(reports, path, visible_ev)
        condition = conditions.get((path.lens.pk, *path.key))
        fields = stated_fields(assessment, entries, tints, priors, condition=condition, visible_ev=visible_ev)
        rows += unsaved_rows(path, fields)
    return rows


def _bare_leads() -> QuerySet[Standing]:
    return Standing.objects.filter(leads=True, teleconverter=None, adapter=None)
