"""From stored reports to the consensus room's evidence."""

from __future__ import annotations

import logging
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet
from django.db.models.functions import Lower

from registry.accounts.models import Account
from registry.accounts.voices import key_of_each, voices_in_force
from registry.consensus import evidence
from registry.gear.models import Adapter, Lens, Teleconverter
from registry.reports.models import Basis, Bond, BondKind, Copy, Report, ReportState, Sweep
from registry.standings.rules import (
    LightPath,
    People,
    filter_position_of,
    joined,
    names_cited,
    one_key_per_copy,
    path_of,
    sources_by_report,
    tester_of,
)


@dataclass(frozen=True)
class Joined:
    """Reports, by their rows, that count as one. kind: see BondKind; name: of the bond, or any for a supposed one."""

    kind: str
    name: str
    reports: frozenset[int]


log = logging.getLogger(__name__)


def gather_evidence(
    lens: Lens, teleconverter: Teleconverter | None = None, adapter: Adapter | None = None
) -> list[evidence.Report]:
    """The evidence on a lens through one light path: one entry per sweep and per claim of submitted reports."""
    path = LightPath(lens, teleconverter, adapter if adapter and adapter.has_glass else None)
    return evidence_by_path(counting_reports(lens)).get(path, [])


def counting_reports(*lenses: Lens) -> list[Report]:
    """The submitted reports on these lenses (on every lens, when none is named), with all that evidence needs."""
    return reports_in_state((ReportState.SUBMITTED,), *lenses)


def reports_in_state(states: Sequence[str], *lenses: Lens) -> list[Report]:
    """As counting_reports, those in other states."""
    return list(_with_gear(states, *lenses).prefetch_related("sweeps__readings", "claims"))


def counting_without_readings(*lenses: Lens) -> list[Report]:
    """As counting_reports, without what they say: enough for keys_by_report."""
    return list(_with_gear((ReportState.SUBMITTED,), *lenses))


def _with_gear(states: Sequence[str], *lenses: Lens) -> QuerySet[Report]:
    reports = Report.objects.filter(state__in=states)
    if lenses:
        reports = reports.filter(lens__in=lenses)
    return reports.select_related(
        "author", "lens__maker", "teleconverter__maker", "adapter__maker", "rig__body", "body", "copy"
    ).order_by("id")


def evidence_by_path(
    reports: list[Report],
    bonds: Sequence[Joined] | None = None,
    voices: Mapping[str, frozenset[str]] | None = None,
) -> dict[LightPath, list[evidence.Report]]:
    """Evidence of these reports, by the light path it is about.

    bonds: which of them are one piece of evidence, voices: which accounts speak with one voice (public ids by the
    voice's name), as was decided; those in force, unless given.
    """
    keys = keys_by_report(reports, bonds, voices)
    grouped: dict[LightPath, list[evidence.Report]] = defaultdict(list)
    for report in reports:
        grouped[path_of(report)].extend(_entries(report, keys[report.pk]))
    return dict(grouped)


@dataclass(frozen=True)
class Keys:
    """What a report's entries share: which voice, example and publication they are, and what they were taken with."""

    tester: str
    copy: str | None
    source: str | None
    filter_position: str | None
    body: str | None


def keys_by_report(
    reports: list[Report],
    bonds: Sequence[Joined] | None = None,
    voices: Mapping[str, frozenset[str]] | None = None,
) -> dict[int, Keys]:
    """The keys of these reports by their rows; all reports of a lens have to be among them. Further parameters: as
    for evidence_by_path."""
    bonds = bonds_among(reports) if bonds is None else bonds
    known = one_key_per_copy(_copies_behind(reports))
    people = people_behind(reports, voices)
    copies = joined(
        {report.pk: known.get(report.copy_id) for report in reports},
        [(bond.name, bond.reports) for bond in bonds if bond.kind == BondKind.COPY],
    )
    sources = joined(
        sources_by_report(reports, people),
        [(bond.name, bond.reports) for bond in bonds if bond.kind != BondKind.COPY],
    )
    return {
        report.pk: Keys(
            tester=tester_of(report, people),
            copy=copies.get(report.pk),
            source=sources.get(report.pk),
            filter_position=filter_position_of(report),
            body=_body_of(report),
        )
        for report in reports
    }


def _body_of(report: Report) -> str | None:
    body = report.body or (report.rig.body if report.rig_id else None)
    return body.slug if body else None


def bonds_among(reports: list[Report]) -> list[Joined]:
    """The bonds in force on the lenses of these reports, with their reports' rows."""
    lens_ids = {report.lens_id for report in reports}
    rows = Bond.reports.through.objects.filter(bond__ended_at=None, report__lens__in=lens_ids)
    members: dict[tuple[str, str], set[int]] = defaultdict(set)
    for name, kind, pk in rows.values_list("bond__name", "bond__kind", "report_id") if lens_ids else ():
        members[name, kind].add(pk)
    here = {report.pk for report in reports}
    return [Joined(kind, name, frozenset(own & here)) for (name, kind), own in sorted(members.items())]


def _copies_behind(reports: list[Report]) -> list[Copy]:
    lens_ids = {report.lens_id for report in reports if report.copy_id}
    return list(Copy.objects.filter(lens__in=lens_ids).order_by("pk")) if lens_ids else []


def people_behind(reports: list[Report], voices: Mapping[str, frozenset[str]] | None = None) -> People:
    """Who is who among the testers of these reports. voices: as for evidence_by_path."""
    voices = voices_in_force() if voices is None else voices
    return People(_accounts_cited(reports), key_of_each(voices))


def _accounts_cited(reports: list[Report]) -> dict[str, str]:
    """Public ids, by name in one spelling, of the accounts whose names these relays cite."""
    names = names_cited(reports)
    if not names:
        return {}
    known = Account.objects.annotate(spelled=Lower("name")).filter(spelled__in=names)
    return dict(known.values_list("spelled", "public_id"))


def _entries(report: Report, keys: Keys) -> list[evidence.Report]:
    shared = vars(keys) | {
        "cut_on_nm": report.cut_on_nm,
        "cut_on_group": (report.light_group or None) if report.cut_on_nm is None else None,
    }
    sweeps = [
        evidence.Report(
            id=f"{report.public_id}@{sweep.focal_length_mm:g}",
            focal_mm=sweep.focal_length_mm,
            method=_method(report, sweep),
            readings=tuple(_reading(reading) for reading in sweep.readings.all()),
            **shared,
        )
        for sweep in report.sweeps.all()
        if sweep.readings.all()
    ]
    claims = [
        evidence.Report(
            id=f"{report.public_id}#{number}",
            focal_mm=claim.focal_length_mm,
            method="claim",
            claim=evidence.Claim(says=claim.says, f_number=claim.f_number),
            **shared,
        )
        for number, claim in enumerate(report.claims.all(), 1)
    ]
    return sweeps + claims


def _method(report: Report, sweep: Sweep) -> str:
    if report.basis == Basis.GRADED:
        return "visual"
    return "measured" if any(reading.excess_ev is not None for reading in sweep.readings.all()) else "visual"


def _reading(reading) -> evidence.Reading:
    if reading.excess_ev is not None:
        return evidence.Reading(f_number=reading.f_number, ev=reading.excess_ev, ev_se=reading.excess_se)
    return evidence.Reading(f_number=reading.f_number, grade=reading.grade)


def usable_entries(
    entries: list[evidence.Report], optics: evidence.Lens
) -> tuple[list[evidence.Report], list[dict]]:
    """Entries that may enter the grid, and for each other one what is wrong. Reports are checked when they are
    submitted; this only catches what a later correction of the lens's facts has made impossible."""
    usable, left_out = [], []
    for entry in sorted(entries, key=lambda entry: entry.id):
        problems = list(evidence.report_problems(entry, optics))
        if problems:
            log.warning("%s left out of the consensus: %s", entry.id, " ".join(map(str, problems)))
            left_out.append({"entry": entry.id, "says": [problem.says for problem in problems]})
        else:
            usable.append(entry)
    return usable, left_out
