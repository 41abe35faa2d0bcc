"""Counting several reports as one piece of evidence, and as several again."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account
from registry.errors import InvalidInput, Problem
from registry.ledger.services import record
from registry.reports.models import Bond, BondKind, Report


@transaction.atomic
def join_reports(*, reports: Sequence[Report], kind: str, by: Account) -> Bond:
    """Let reports on one lens count as one voice. Raises InvalidInput for fewer than two, or on several lenses."""
    lenses = {report.lens_id for report in reports}
    if len({report.pk for report in reports}) < 2 or len(lenses) > 1:
        says = (
            "They are on different lenses." if len(lenses) > 1 else "One report can’t be the same as itself."
        )
        raise InvalidInput(
            Problem(
                code="reports-to-join",
                field="reports",
                value=[report.public_id for report in reports],
                says=says,
                remedy="Name two or more reports on one lens.",
            )
        )
    bond = Bond.objects.create(kind=BondKind(kind))
    bond.reports.set(reports)
    _tell(bond, "evidence.joined", by)
    return bond


@transaction.atomic
def part_reports(*, bond: Bond, by: Account) -> None:
    """Let a bond's reports count by themselves again; harmless where they do."""
    bond = Bond.objects.select_for_update(no_key=True).get(pk=bond.pk)
    if bond.ended_at is None:
        bond.ended_at = timezone.now()
        bond.save(update_fields=["ended_at"])
        _tell(bond, "evidence.parted", by)


def _tell(bond: Bond, name: str, by: Account) -> None:
    reports = list(bond.reports.select_related("lens").order_by("pk"))
    slug = reports[0].lens.slug
    data = {"lens": slug, "kind": bond.kind, "reports": [report.public_id for report in reports]}
    record(name, actor=by, subject_kind="lens", subject_id=slug, data=data)
