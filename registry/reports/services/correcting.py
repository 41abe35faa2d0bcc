"""Correcting what gear a report names, by a decision and not by its author."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db import transaction

from registry.accounts.models import Account
from registry.errors import InvalidInput, Problem
from registry.reports.models import Report
from registry.reports.rules.details import read_details
from registry.reports.rules.inputs import Input
from registry.reports.rules.submission import check_submission
from registry.reports.services.drafts import apply_details
from registry.reports.services.holding import hold_report, write_report
from registry.reports.services.life import PUBLIC
from registry.reports.services.revisions import content_of, keep_revision
from registry.reports.services.submission import tell

GEAR_TO_CORRECT = (
    "lens", "teleconverter", "adapter", "body", "filter", "filter_position", "rig", "copy", "cut_on_nm",
    "light_group",
)  # fmt: skip


@transaction.atomic
def correct_gear(
    *,
    report: Report,
    by: Account,
    changes: Mapping[str, Any],
    reason: str,
    expected_version: int | None = None,
) -> dict[str, Any]:
    """Let a public report name the gear that was really used; what it said before is kept as a revision.

    changes: any of GEAR_TO_CORRECT, as file_report takes them. Returns what those fields said before, in the same
    form, so that it can be put back. Raises InvalidInput with every problem, Conflict in another state or version.
    """
    hold_report(report, states=PUBLIC, expected_version=expected_version)
    lens_before = report.lens
    values = read_gear(report, changes)
    content = content_of(report)
    follows = {"copy"} if report.rig_id else {"copy", "cut_on_nm", "light_group"}
    before = {name: content[name] or "" for name in GEAR_TO_CORRECT if name in changes or name in follows}
    keep_revision(report, by=by, reason=reason, content=content)
    apply_details(report, values)
    if problems := check_submission(report):
        raise InvalidInput(problems)
    write_report(report, revision=report.revision + 1, submit_problems=[])
    moved = {"lens_before": lens_before.slug} if lens_before != report.lens else {}
    tell(report, "report.corrected", actor=by, reason=reason, **moved)
    return before


def read_gear(report: Report, changes: Mapping[str, Any]) -> dict[str, Any]:
    """The values of a report's gear fields that these changes make. Raises InvalidInput."""
    source = Input(changes)
    source.known(GEAR_TO_CORRECT)
    if not changes:
        source.problems.append(
            Problem(
                code="nothing-to-correct",
                field="changes",
                says="No gear is named.",
                remedy=f"Name what was really used: one or more of {', '.join(GEAR_TO_CORRECT)}.",
            )
        )
    values = read_details(source, report.author, report)
    source.raise_problems()
    return values
