"""A contributor's own summary of a test: said, changed, or stood by against the measurement."""

from __future__ import annotations

from typing import Any

from django.db import transaction

from registry.accounts.models import Account
from registry.errors import InvalidInput, Problem
from registry.reports.models import OwnSummary, Report
from registry.reports.rules.contents import Tested
from registry.reports.rules.inputs import Input
from registry.reports.rules.summary import contradictions_of, read_standing, read_summary
from registry.reports.services.holding import hold_report, write_report


@transaction.atomic
def say_summary(
    *,
    report: Report,
    by: Account,
    says: str,
    f_number: float | str | None = None,
    expected_version: int | None = None,
) -> OwnSummary | None:
    """Say in a draft what one would say of the lens oneself. Said anew, it must be stood by anew; the same again
    changes nothing. says: a word of SummarySays, or empty to say nothing.

    Raises InvalidInput when the stop is missing or none of the lens's.
    """
    hold_report(report, by=by, expected_version=expected_version)
    source = Input({"says": says, "f_number": f_number})
    values = read_summary(source, Tested(report.lens, report.teleconverter))
    source.raise_problems()
    known = OwnSummary.objects.filter(report=report).first()
    if (known and {name: getattr(known, name) for name in ("says", "f_number")}) == values:
        return known
    summary = store_summary(report, values and values | {"stands": False, "answer": ""})
    write_report(report)
    return summary


@transaction.atomic
def stand_by_summary(
    *,
    report: Report,
    by: Account,
    answer: str = "",
    stands: bool = True,
    expected_version: int | None = None,
) -> OwnSummary:
    """Stand by one's summary although the measurement contradicts it; the answer is kept with the report. stands:
    False takes that back.

    Raises InvalidInput when there is no summary, or the answer is too long.
    """
    hold_report(report, by=by, expected_version=expected_version)
    source = Input({"stands": stands, "answer": answer})
    standing = read_standing(source)
    source.raise_problems()
    known = OwnSummary.objects.filter(report=report).first()
    if known is None:
        raise InvalidInput(
            Problem(
                code="no-summary",
                field="own_summary",
                says="There is no summary of yours to stand by.",
                remedy="Say first how far you would call the lens clean.",
            )
        )
    summary = store_summary(report, {"says": known.says, "f_number": known.f_number} | standing)
    write_report(report)
    return summary


def store_summary(report: Report, values: dict[str, Any] | None) -> OwnSummary | None:
    """Store what a held report's author says, as read_own_summary gives it; None takes it away."""
    if values is None:
        OwnSummary.objects.filter(report=report).delete()
        return None
    summary = OwnSummary(report=report, **values)
    summary.contradicts = contradictions_of(report, summary) if summary.stands else []
    OwnSummary.objects.update_or_create(report=report, defaults=values | {"contradicts": summary.contradicts})
    return summary
