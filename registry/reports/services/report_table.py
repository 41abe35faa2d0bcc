"""Filing every report of a table, all of them or none.

    plan = plan_table(author=account, content=bytes_of_a_csv_file)
    plan.problems or import_table(author=account, content=bytes_of_a_csv_file)

Every report goes through file_report, as from a form. A report that came in under its name before is left alone, so
that the same table can be sent again after it grew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from django.db import transaction

from registry.accounts.models import Account
from registry.errors import InvalidInput
from registry.ledger.services import record
from registry.reports.models import ImportedReport, Report
from registry.reports.services.filing import file_report
from registry.reports.services.table_plan import PlannedReport, plan_table


@dataclass(frozen=True)
class Imported:
    """reports: those that came in now, in the table's order; known: how many had come in before."""

    reports: tuple[Report, ...]
    known: int


@transaction.atomic
def import_table(
    *, author: Account, content: bytes | str, lenses: Mapping[str, str] | None = None, submit: bool = True
) -> Imported:
    """File every new report of a table, as drafts or submitted; all of them or none.

    Raises as plan_table does, and InvalidInput with every problem, its field naming row and column.
    """
    Account.objects.select_for_update(no_key=True).get(
        pk=author.pk
    )  # the same table twice at once comes in once
    plan = plan_table(author=author, content=content, lenses=lenses)
    if plan.problems:
        raise InvalidInput(
            replace(found.problem, field=f"row {found.row}, {found.heading}".removesuffix(", "))
            for found in plan.problems
        )
    reports = [_file(author, planned, submit) for planned in plan.new]
    if reports:
        data = {"reports": [report.public_id for report in reports]}
        record(
            "reports.imported",
            actor=author,
            subject_kind="account",
            subject_id=author.public_id,
            data=data,
        )
    return Imported(tuple(reports), len(plan.here))


def _file(author: Account, planned: PlannedReport, submit: bool) -> Report:
    report = file_report(author=author, data=planned.content, submit=submit)
    ImportedReport.objects.create(
        author=author, key=planned.key, fingerprint=planned.fingerprint, report=report
    )
    return report
