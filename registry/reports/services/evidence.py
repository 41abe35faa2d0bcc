"""What a contributor enters by hand into a draft: readings, claims, findings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from django.db import transaction

from registry.accounts.models import Account
from registry.optics import stops
from registry.reports.models import Claim, Finding, Reading, Report, Sweep
from registry.reports.rules.contents import SweepContent, Tested, read_claim, read_finding, read_sweeps
from registry.reports.rules.inputs import Input
from registry.reports.services.holding import hold_report, write_report


@transaction.atomic
def enter_readings(
    *,
    report: Report,
    by: Account,
    readings: Sequence[Mapping[str, Any]],
    focal_length_mm: float | None = None,
    focus_distance_m: float | None = None,
    typed: bool = True,
    expected_version: int | None = None,
) -> Sweep:
    """Put the readings of one focal length into a draft, in place of those typed there before.

    readings: each with f_number and grade, or excess_ev and excess_se, or all of them. focal_length_mm may be left
    out for a prime. typed: f-numbers were typed by a person and are questioned when no lens shows them; False takes
    them as a camera wrote them. Raises InvalidInput with fields such as `readings[2].f_number`.
    """
    hold_report(report, by=by, expected_version=expected_version)
    sent = [dict(reading) | ({} if typed else {"from_exif": True}) for reading in readings]
    content = {"focal_length_mm": focal_length_mm, "focus_distance_m": focus_distance_m, "readings": sent}
    source = Input({"sweeps": [content]})
    sweeps = read_sweeps(source, tested_in(report))
    _raise_without_prefix(source, "sweeps[0].")
    sweep = store_sweep(report, sweeps[0])
    write_report(report)
    return sweep


@transaction.atomic
def enter_claim(
    *,
    report: Report,
    by: Account,
    says: str,
    f_number: float | None = None,
    focal_length_mm: float | None = None,
    expected_version: int | None = None,
) -> Claim:
    """Add one coarse statement to a draft; the same statement again changes nothing."""
    hold_report(report, by=by, expected_version=expected_version)
    source = Input({"says": says, "f_number": f_number, "focal_length_mm": focal_length_mm})
    values = read_claim(source, tested_in(report))
    source.raise_problems()
    claim = report.claims.filter(**values).first() or store_claim(report, values)
    write_report(report)
    return claim


@transaction.atomic
def enter_finding(
    *, report: Report, by: Account, kind: str, grade: int, note: str = "", expected_version: int | None = None
) -> Finding:
    """Grade one other infrared trait in a draft, in place of its earlier grade."""
    hold_report(report, by=by, expected_version=expected_version)
    source = Input({"kind": kind, "grade": grade, "note": note})
    values = read_finding(source)
    source.raise_problems()
    finding, _ = Finding.objects.update_or_create(
        report=report, kind=values["kind"], defaults={"grade": values["grade"], "note": values["note"]}
    )
    write_report(report)
    return finding


@transaction.atomic
def remove_claim(*, report: Report, by: Account, claim: Claim, expected_version: int | None = None) -> None:
    """Take a claim out of a draft."""
    hold_report(report, by=by, expected_version=expected_version)
    report.claims.filter(pk=claim.pk).delete()
    write_report(report)


@transaction.atomic
def remove_finding(*, report: Report, by: Account, kind: str, expected_version: int | None = None) -> None:
    """Take a finding out of a draft."""
    hold_report(report, by=by, expected_version=expected_version)
    report.findings.filter(kind=kind).delete()
    write_report(report)


@transaction.atomic
def remove_readings(
    *, report: Report, by: Account, focal_length_mm: float, expected_version: int | None = None
) -> None:
    """Take the readings typed at one focal length out of a draft; those measured from frames stay."""
    hold_report(report, by=by, expected_version=expected_version)
    for sweep in report.sweeps.filter(focal_length_mm=focal_length_mm):
        sweep.readings.filter(image=None).delete()
        if not sweep.readings.exists():
            sweep.delete()
    write_report(report)


def tested_in(report: Report) -> Tested:
    return Tested(report.lens, report.teleconverter)


def store_sweep(report: Report, content: SweepContent) -> Sweep:
    """Store a checked sweep in place of what was typed at its focal length."""
    sweep, _ = Sweep.objects.get_or_create(report=report, focal_length_mm=content.focal_length_mm)
    if content.focus_distance_m is not None:
        sweep.focus_distance_m = content.focus_distance_m
        sweep.save(update_fields=["focus_distance_m"])
    sweep.readings.filter(image=None).delete()
    Reading.objects.bulk_create(
        Reading(sweep=sweep, av=stops.exact_av(values["f_number"]), **values) for values in content.readings
    )
    return sweep


def store_claim(report: Report, values: dict[str, Any]) -> Claim:
    f_number = values["f_number"]
    return Claim.objects.create(
        report=report, av=None if f_number is None else stops.exact_av(f_number), **values
    )


def _raise_without_prefix(source: Input, prefix: str) -> None:
    """Name fields as the caller of a service for one sweep knows them."""
    source.problems[:] = [
        replace(problem, field=problem.field.removeprefix(prefix)) for problem in source.problems
    ]
    source.raise_problems()
