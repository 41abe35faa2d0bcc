"""From evidence to stored standings: recomputed whole for a lens, written only where something changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields

from django.db import transaction

from registry.consensus.assessment import assess_lens
from registry.consensus.beliefs import Priors
from registry.consensus.constants import METHOD_VERSION
from registry.consensus.evidence import Lens as Optics
from registry.consensus.evidence import Reading
from registry.consensus.evidence import Report as Entry
from registry.gear.models import Lens
from registry.ledger.services import record
from registry.standings.by_condition import ByCondition, stated_fields
from registry.standings.models import PriorsEdition, Standing, StandingChange
from registry.standings.queries.evidence import counting_reports, evidence_by_path, usable_entries
from registry.standings.queries.split_paths import conditions_in_force
from registry.standings.queries.tints import tints_by_cell
from registry.standings.rules import LightPath
from registry.standings.services.conflicts import PathEvidence, hold_conflicts, update_conflicts
from registry.standings.services.priors import ensure_edition
from registry.standings.shapes import NO_REPORTS


@dataclass
class Refreshed:
    """What one refresh did. changes: one entry per standing whose verdict, limit or confidence moved."""

    written: int = 0
    changes: list[dict] = field(default_factory=list)


@dataclass(frozen=True)
class _Run:
    """What all standings of one refresh share."""

    edition: PriorsEdition
    priors: Priors
    cause_event: int | None
    cause: str
    conditions: Mapping[tuple, ByCondition]


@transaction.atomic
def refresh_lens(lens: Lens, *, cause_event: int | None = None, cause: str = "") -> Refreshed:
    """Bring a lens's standings up to its submitted reports, with history, conflicts and an event.

    Equal evidence under the same method and priors writes nothing. cause_event: sequence of the ledger event
    that made the refresh necessary; cause: the same in words, for the history.
    """
    lens = Lens.objects.select_for_update(of=("self",), no_key=True).select_related("maker").get(pk=lens.pk)
    hold_conflicts(lens)
    edition = ensure_edition()
    run = _Run(edition, Priors.from_dict(edition.content), cause_event, cause, conditions_in_force([lens]))
    reports = counting_reports(lens)
    evidence = evidence_by_path(reports)
    outcome = Refreshed()
    for path in sorted({*evidence, *_paths_with_standings(lens)}, key=str):
        tints = tints_by_cell(reports, path)
        _refresh_path(path, evidence.get(path, []), tints, run, outcome)
    if outcome.changes:
        record(
            "standing.changed",
            actor=None,
            subject_kind="lens",
            subject_id=lens.slug,
            data={"lens": lens.slug, "cause_event": cause_event, "changes": outcome.changes},
        )
    return outcome


def refresh_all(progress: Callable[[Iterable], Iterable] | None = None) -> Refreshed:
    """Refresh every lens that has reports or standings, each in its own transaction, so that a broken run
    can be run again. progress: wraps the list of lenses, as tqdm does."""
    lenses = (
        Lens.objects.filter(reports__isnull=False) | Lens.objects.filter(standings__isnull=False)
    ).distinct()
    total = Refreshed()
    for lens in (progress or iter)(list(lenses.order_by("pk"))):
        outcome = refresh_lens(lens, cause="whole refresh")
        total.written += outcome.written
        total.changes += outcome.changes
    return total


def _paths_with_standings(lens: Lens) -> set[LightPath]:
    rows = lens.standings.select_related("teleconverter__maker", "adapter__maker")
    return {LightPath(lens, row.teleconverter, row.adapter) for row in rows}


def _refresh_path(
    path: LightPath, entries: list[Entry], tints: dict[tuple[str, str], float], run: _Run, outcome: Refreshed
) -> None:
    optics = path.optics(reading.f_number for entry in entries for reading in entry.readings)
    usable, left_out = usable_entries(entries, optics)
    condition = run.conditions.get((path.lens.pk, *path.key))
    fingerprint = _fingerprint(optics, usable, tints, run.edition, condition)
    rows = path.lens.standings.filter(teleconverter=path.teleconverter, adapter=path.adapter)
    stored = {(row.cut_on_group, row.focal_zone): row for row in rows}
    if all(row.fingerprint == fingerprint for row in stored.values()) and (stored or not usable):
        return
    assessment = assess_lens(optics, usable, run.priors)
    stated = stated_fields(assessment, usable, tints, run.priors, condition=condition)
    shared = {"fingerprint": fingerprint, "method_version": METHOD_VERSION, "priors": run.edition}
    rows = []
    for key in sorted({*stated, *stored}):
        row = stored.get(key) or Standing(
            lens=path.lens,
            teleconverter=path.teleconverter,
            adapter=path.adapter,
            cut_on_group=key[0],
            focal_zone=key[1],
            **NO_REPORTS,
        )
        news = stated.get(key, NO_REPORTS) | shared
        news["detail"] = news["detail"] | ({"left_out": left_out} if left_out else {})
        _write(row, news, run, outcome)
        rows.append(row)
    update_conflicts(rows, PathEvidence(optics, usable, run.priors, condition), run.cause_event)


def _write(row: Standing, news: dict, run: _Run, outcome: Refreshed) -> None:
    before = _in_words(row)
    for name, value in news.items():
        setattr(row, name, value)
    row.save()
    outcome.written += 1
    after = _in_words(row)
    if before == after:
        return
    _note_change(row, before, after, run)
    outcome.changes.append(
        {
            "cut_on_group": row.cut_on_group,
            "focal_zone": row.focal_zone,
            "teleconverter": row.teleconverter.slug if row.teleconverter else None,
            "adapter": row.adapter.slug if row.adapter else None,
            "before": before,
            "after": after,
        }
    )


def _note_change(row: Standing, before: str, after: str, run: _Run) -> None:
    StandingChange.objects.create(
        lens=row.lens,
        teleconverter=row.teleconverter,
        adapter=row.adapter,
        cut_on_group=row.cut_on_group,
        focal_zone=row.focal_zone,
        before=before,
        after=after,
        snapshot={
            "verdict": row.verdict,
            "f_number": row.f_number,
            "confidence": row.confidence,
            "n_independent": row.n_independent,
            "stops": row.stops,
            "limit": row.limit,
            "fingerprint": row.fingerprint,
        },
        cause_event=run.cause_event,
        cause=run.cause,
        method_version=row.method_version,
        priors_number=run.edition.number,
    )


def _in_words(row: Standing) -> str:
    return f"{row.words} ({row.confidence})" if row.confidence else row.words


def _fingerprint(
    optics: Optics,
    entries: list[Entry],
    tints: dict,
    edition: PriorsEdition,
    condition: ByCondition | None,
) -> str:
    """Of everything that a standing is computed from, so that equal inputs are recognised."""
    inputs = {
        "method": METHOD_VERSION,
        "priors": edition.number,
        "lens": optics,
        "tints": sorted([*key, value] for key, value in tints.items()),
        "evidence": entries,
    } | ({"condition": condition} if condition else {})
    told = json.dumps(inputs, sort_keys=True, default=_fields_of)
    return hashlib.sha256(told.encode()).hexdigest()


def _fields_of(row: Optics | Entry | Reading | ByCondition) -> dict:
    """As dataclasses.asdict, which copies everything that it finds in them."""
    return {one.name: getattr(row, one.name) for one in fields(row)}
