"""Beginning, changing and discarding a draft."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from registry.accounts.models import Account
from registry.gear.holding import held, hold_gear
from registry.gear.models import Filter, GearItem, Lens
from registry.reports import storage
from registry.reports.models import Copy, Report, Rig
from registry.reports.rules.details import DETAIL_FIELDS, read_details
from registry.reports.rules.inputs import Input
from registry.reports.services.equipment import add_rig, save_copy
from registry.reports.services.holding import hold_report, write_report


@transaction.atomic
def start_draft(
    *,
    author: Account,
    lens: Lens | str,
    basis: str,
    rig: Rig | str | Mapping | None = None,
    copy: Copy | str | Mapping | None = None,
    filter: Filter | str | None = None,
    filter_position: str = "",
    **details: Any,
) -> Report:
    """Begin a report. Gear is given as rows, slugs or names; details are the other fields of DETAIL_FIELDS.

    Raises InvalidInput with every problem; an unknown lens name offers the nearest known ones.
    """
    source = Input(
        {"lens": lens, "basis": basis, "rig": rig, "copy": copy, "filter": filter}
        | {"filter_position": filter_position, **details}
    )
    source.known(DETAIL_FIELDS)
    values = read_details(source, author)
    source.raise_problems()
    return create_draft(author, values)


@transaction.atomic
def change_draft(
    *, report: Report, by: Account, expected_version: int | None = None, **details: Any
) -> Report:
    """Change some details of a draft; those not given stay. Raises as start_draft and hold_report do."""
    hold_report(report, by=by, expected_version=expected_version)
    source = Input(details)
    source.known(DETAIL_FIELDS)
    values = read_details(source, by, report)
    source.raise_problems()
    return apply_details(report, values)


@transaction.atomic
def discard_draft(*, report: Report, by: Account, expected_version: int | None = None) -> None:
    """Delete a draft with its frames, which were never public, at its author's wish."""
    hold_report(report, by=by, expected_version=expected_version)
    names = list(report.images.values_list("original", "kept", "picture", "thumbnail"))
    report.sweeps.all().delete()
    report.images.all().delete()
    report.delete()
    private_names = [name for original, kept, _, _ in names for name in (original, kept)]
    public_names = [name for _, _, picture, thumbnail in names for name in (picture, thumbnail)]
    transaction.on_commit(lambda: storage.discard(private_names=private_names, public_names=public_names))


def create_draft(author: Account, values: dict[str, Any]) -> Report:
    """Store a new draft from values that read_details has checked."""
    values = with_gear_held(values)
    report = Report(author=author, **with_equipment(author, values["lens"], values))
    report.save()
    return report


def apply_details(report: Report, values: dict[str, Any]) -> Report:
    """Store checked details of a held report."""
    values = with_gear_held(values)
    lens = values.get("lens") or report.lens
    return write_report(report, **with_equipment(report.author, lens, values))


def with_gear_held(values: dict[str, Any]) -> dict[str, Any]:
    """The values with their gear held, and each piece that was merged meanwhile replaced by what stands for it."""
    gear = {name: value for name, value in values.items() if isinstance(value, GearItem)}
    now = hold_gear(gear.values())
    return values | {name: now[value] for name, value in gear.items()} | _copy_now(values)


def _copy_now(values: dict[str, Any]) -> dict[str, Any]:
    """The copy that stands for a named one, where a merge of its lens made two of one holder's copies one."""
    copy = values.get("copy")
    if not isinstance(copy, Copy) or Copy.objects.filter(pk=copy.pk).exists():
        return {}
    lens = held(copy.lens)
    return {"copy": Copy.objects.filter(lens=lens, holder=copy.holder_id, label=copy.label).first()}


def with_equipment(author: Account, lens: Lens, values: dict[str, Any]) -> dict[str, Any]:
    """The values with a rig or copy that was described, rather than named, saved first."""
    values = dict(values)
    rig, copy = values.get("rig"), values.get("copy")
    if rig is not None:
        values["rig"] = add_rig(rig)
    if isinstance(copy, dict):
        values["copy"] = save_copy(
            holder=author, lens=lens, label=copy["label"], serial_number=copy["serial_number"] or None
        )
    return values
