"""Many reports of one contributor at once: each checked by itself, by the rules of file_report, and all that pass
written together.

    outcomes = file_all(author=account, lines=[Line("1", {"lens": …, "basis": "graded", "submit": True, …}), …])

A report that came in before under its line's key is left alone, so that the same lines can be sent again.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from registry.accounts.models import Account
from registry.accounts.services import check_may_submit
from registry.errors import CleanstopError, InvalidInput, Problem
from registry.reports.models import ImportedReport, Report
from registry.reports.rules.submission import check_without_frames
from registry.reports.services.batch_writing import Checked, write_all
from registry.reports.services.contents import read_contents
from registry.reports.services.drafts import with_equipment
from registry.reports.services.filing import file_report, take_submit

LONGEST_KEY = 64
FILED, HERE, REFUSED = "filed", "here", "refused"
_NAMED = ("lens", "teleconverter", "adapter", "filter", "body", "rig", "copy")
# Parts that need the report's rows before they can be checked: such a report is filed by itself.
_NEED_ROWS = ("images", "own_summary")


@dataclass(frozen=True)
class Line:
    """A report as it was sent: file_report's data, with `submit`. key: its sender's name for it; empty: what it says
    is its name."""

    key: str
    data: Mapping[str, Any]


@dataclass(frozen=True)
class Outcome:
    """What became of a line. state: "filed", "here" when it came in before, or "refused" with its error."""

    state: str
    report_id: str = ""
    error: CleanstopError | None = None


@transaction.atomic
def file_all(*, author: Account, lines: Sequence[Line]) -> list[Outcome]:
    """File reports, each or not at all, and tell of each line what became of it, in their order.

    A refused line keeps none of the others back; a fault of the registry's own undoes all of these lines.
    """
    Account.objects.select_for_update().get(
        pk=author.pk
    )  # two requests with the same lines: one after the other
    batch = _Batch(author, lines)
    outcomes = [batch.take(line) for line in lines]
    write_all(author, batch.checked)
    return outcomes


class _Batch:
    """One lot of lines. What they name is looked up once, and remembered no longer than the transaction lasts."""

    def __init__(self, author: Account, lines: Iterable[Line]):
        self.author = author
        self.checked: list[Checked] = []
        self.named: dict[tuple[str, str], Any] = {}
        came_in = ImportedReport.objects.filter(author=author, key__in=[_key_of(line) for line in lines])
        self.here = {
            key: (fingerprint, report_id)
            for key, fingerprint, report_id in came_in.values_list("key", "fingerprint", "report__public_id")
        }
        self.may_not: CleanstopError | None = None
        try:
            check_may_submit(author)
        except CleanstopError as error:
            self.may_not = error

    def take(self, line: Line) -> Outcome:
        key, fingerprint = _key_of(line), _fingerprint_of(line)
        if known := self.here.get(key):
            return _came_in_before(line, known, fingerprint)
        try:
            report = self._filed(line, key, fingerprint)
        except CleanstopError as error:
            return Outcome(REFUSED, error=error)
        self.here[key] = (fingerprint, report.public_id)
        return Outcome(FILED, report.public_id)

    def _filed(self, line: Line, key: str, fingerprint: str) -> Report:
        data = dict(line.data)
        submit = take_submit(data)
        if submit and self.may_not:
            raise self.may_not
        if any(data.get(name) for name in _NEED_ROWS):
            return self._by_itself(data, submit, key, fingerprint)
        checked = self._check(data, submit, key, fingerprint)
        self.checked.append(checked)
        return checked.report

    def _by_itself(self, data: dict[str, Any], submit: bool, key: str, fingerprint: str) -> Report:
        report = file_report(author=self.author, data=data, submit=submit)
        ImportedReport.objects.create(author=self.author, key=key, fingerprint=fingerprint, report=report)
        return report

    def _check(self, data: dict[str, Any], submit: bool, key: str, fingerprint: str) -> Checked:
        contents = read_contents(data | self._looked_up(data), self.author)
        details = contents.details
        described = isinstance(details.get("copy"), dict)
        report = Report(author=self.author, **(details | {"copy": None} if described else details))
        problems = check_without_frames(report, says_something=bool(contents.sweeps or contents.claims))
        if submit and problems:
            raise InvalidInput(problems)
        owned = with_equipment(self.author, report.lens, details)
        report.copy, report.rig = owned.get("copy"), owned.get("rig")
        self._remember(data, owned)
        return Checked(report, contents, submit, key, fingerprint)

    def _looked_up(self, data: Mapping[str, Any]) -> dict[str, Any]:
        """The things that earlier lines named in the same words."""
        return {
            name: self.named[said]
            for name in _NAMED
            if name in data and (said := _said(name, data)) in self.named
        }

    def _remember(self, data: Mapping[str, Any], values: Mapping[str, Any]) -> None:
        for name in _NAMED:
            follows_from_rig = name == "body" and data.get("rig")
            if data.get(name) and values.get(name) is not None and not follows_from_rig:
                self.named[_said(name, data)] = values[name]


def _said(name: str, data: Mapping[str, Any]) -> tuple[str, str]:
    """The words in which a line names a thing; a copy is one of a lens."""
    of = data.get("lens") if name == "copy" else None
    return name, json.dumps([data[name], of], sort_keys=True, default=str)


def _key_of(line: Line) -> str:
    """The name under which a line's report is remembered; those of tables are apart."""
    return f"batch:{line.key or _fingerprint_of(line)}"


def _fingerprint_of(line: Line) -> str:
    return hashlib.sha256(json.dumps(line.data, sort_keys=True, default=str).encode()).hexdigest()


def _came_in_before(line: Line, known: tuple[str, str], fingerprint: str) -> Outcome:
    if known[0] == fingerprint:
        return Outcome(HERE, known[1])
    return Outcome(
        REFUSED,
        error=InvalidInput(
            Problem(
                code="line-key-reused",
                field="key",
                value=line.key,
                says=f"The key “{line.key}” stands for report {known[1]}, which says something else.",
                remedy="Give each new report a key of its own; change the one that is here by revising it.",
            )
        ),
    )
