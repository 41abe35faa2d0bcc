"""Writing checked reports together: a statement for each table rather than for each row."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter
from types import SimpleNamespace
from typing import Any

from django.utils import timezone

from registry.accounts.addresses import note_address
from registry.accounts.models import Account
from registry.gear.holding import hold_gear
from registry.gear.models import GearItem
from registry.identifiers import new_public_id
from registry.ledger.services import record_all
from registry.optics.stops import exact_av
from registry.reports.models import Claim, Finding, ImportedReport, Reading, Report, ReportState, Sweep
from registry.reports.services.contents import ReportContent
from registry.reports.services.drafts import with_gear_held
from registry.reports.services.submission import state_on_entry, told_of
from registry.setwise import add_columns, add_rows, reserve_keys

_FIELDS = Report._meta.concrete_fields
_GEAR = ("lens", "teleconverter", "adapter", "body", "filter", "copy")
_TYPED = ("f_number", "excess_ev", "excess_se", "grade")
_BLANK = {field.name: None if field.is_relation else field.get_default() for field in _FIELDS}


class NewReport(SimpleNamespace):
    """What a Report holds, before it is written: the rules read it alike, and making one costs a tenth."""


@dataclass(frozen=True)
class Checked:
    """A report without pictures that may be written, and what belongs to it."""

    report: NewReport
    contents: ReportContent
    submit: bool
    key: str
    fingerprint: str


def new_report(author: Account, details: Mapping[str, Any]) -> NewReport:
    """A draft of these checked details; a copy that is only described is left out."""
    report = NewReport(**_BLANK | {"public_id": new_public_id(), "author": author} | details)
    if isinstance(report.copy, dict):
        report.copy = None
    return report


def write_all(author: Account, checked: Sequence[Checked]) -> None:
    """Write new reports with all that they say, and tell of those that are submitted: of each lens once."""
    if not checked:
        return
    note_address(author)
    _hold_gear(checked)
    now = timezone.now()
    lenses = {one.report.lens.pk: one.report.lens for one in checked if one.submit}
    entries = {pk: state_on_entry(author, lens, with_frames=False) for pk, lens in lenses.items()}
    for one, key in zip(checked, reserve_keys(Report, len(checked)), strict=True):
        one.report.id, one.report.created_at, one.report.updated_at = key, now, now
        if one.submit:
            one.report.state, one.report.state_reason = entries[one.report.lens.pk]
            one.report.submitted_at, one.report.version = now, 2
    _write_reports([vars(one.report) for one in checked])
    _write_sweeps(checked)
    add_rows(Claim, ("report_id", "says", "focal_length_mm", "f_number", "av"), _claims(checked))
    add_rows(Finding, ("report_id", "kind", "grade", "note"), _findings(checked))
    imported = [(author.pk, one.key, one.fingerprint, one.report.id, now) for one in checked]
    add_rows(ImportedReport, ("author_id", "key", "fingerprint", "report_id", "at"), imported)
    for name, state in (("report.waiting", ReportState.WAITING), ("report.submitted", ReportState.SUBMITTED)):
        record_all(
            name,
            actor=author,
            subject_kind="report",
            happened=[
                (one.report.public_id, told_of(one.report)) for one in checked if one.report.state == state
            ],
            told_once_per="lens",
        )


def _hold_gear(checked: Sequence[Checked]) -> None:
    """Hold all gear that the reports name; what was merged since it was looked up is replaced."""
    reports = [vars(one.report) for one in checked]
    items = (report[name] for name in _GEAR for report in reports)
    named = set({id(item): item for item in items if isinstance(item, GearItem)}.values())
    moved = {item: now for item, now in hold_gear(named).items() if now != item}
    for one in checked if moved else ():
        values = {name: value for name, value in vars(one.report).items() if name in _GEAR}
        vars(one.report).update(with_gear_held(values))


def _write_reports(reports: Sequence[dict[str, Any]]) -> None:
    columns = {}
    for field in _FIELDS:
        values = [report[field.name] for report in reports]
        if field.is_relation:
            key = attrgetter(field.target_field.attname)
            values = [None if item is None else key(item) for item in values]
        columns[field.attname] = values
    add_columns(Report, columns)


def _write_sweeps(checked: Sequence[Checked]) -> None:
    sweeps = [(one.report.id, sweep) for one in checked for sweep in one.contents.sweeps or ()]
    keys = reserve_keys(Sweep, len(sweeps))
    add_rows(
        Sweep,
        ("id", "report_id", "focal_length_mm", "focus_distance_m"),
        (
            (key, report, sweep.focal_length_mm, sweep.focus_distance_m)
            for key, (report, sweep) in zip(keys, sweeps, strict=True)
        ),
    )
    readings = [said for _, sweep in sweeps for said in sweep.readings]
    columns = {name: [said[name] for said in readings] for name in _TYPED}
    columns["sweep_id"] = [key for key, (_, sweep) in zip(keys, sweeps, strict=True) for _ in sweep.readings]
    columns["av"] = list(map(exact_av, columns["f_number"]))
    columns["method_version"] = [""] * len(readings)
    add_columns(Reading, columns)


def _claims(checked: Sequence[Checked]) -> Iterator[tuple]:
    for one in checked:
        for said in one.contents.claims or ():
            f_number = said["f_number"]
            av = None if f_number is None else exact_av(f_number)
            yield one.report.id, said["says"], said["focal_length_mm"], f_number, av


def _findings(checked: Sequence[Checked]) -> Iterator[tuple]:
    for one in checked:
        for said in one.contents.findings or ():
            yield one.report.id, said["kind"], said["grade"], said["note"]
