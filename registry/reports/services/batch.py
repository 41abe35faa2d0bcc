"""Many reports of one contributor at once: each checked by itself, by the rules of file_report, and all that pass
written together.

    batch = ReportBatch(author=account)
    outcomes = batch.file(batch.read([Line("1", {"lens": …, "basis": "graded", "submit": True, …}), …]))

A report that came in before under its line's key is left alone, so that the same lines can be sent again. Reading asks
the database nothing, so that the next lot can be read while the database checks and keeps this one.
"""

from __future__ import annotations

import gc
import hashlib
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import orjson
from django.db import transaction

from registry.accounts.models import Account
from registry.accounts.services import check_may_submit
from registry.errors import CleanstopError, InvalidInput, Problem
from registry.reports.models import ImportedReport
from registry.reports.rules.submission import check_without_frames
from registry.reports.services.batch_writing import Checked, new_report, write_all
from registry.reports.services.contents import ReportContent, read_contents
from registry.reports.services.drafts import with_equipment
from registry.reports.services.filing import file_report, take_submit
from registry.setwise import among

LONGEST_KEY = 64
FILED, HERE, REFUSED = "filed", "here", "refused"
_NAMED = ("lens", "teleconverter", "adapter", "filter", "body", "rig", "copy")
REMEMBERED, REMEMBERED_SECONDS = 10_000, 15.0  # things that lines named
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


@dataclass(frozen=True)
class _Name:
    """Under which key a line's report is remembered, and the fingerprint of what it says."""

    key: str
    fingerprint: str


@dataclass(frozen=True)
class Read:
    """A line, and what can be told of it without the database. name: None where it nests too deeply. contents: None
    where it names what is still to be looked up, or needs its rows first; error: why it can't be filed, if known."""

    line: Line
    name: _Name | None
    data: Mapping[str, Any]
    submit: bool = False
    contents: ReportContent | None = None
    error: CleanstopError | None = None


class ReportBatch:
    """Files lot after lot of one contributor's lines. What they name is looked up once, and again after a while."""

    def __init__(self, *, author: Account):
        self.author = author
        self.named: dict[tuple, Any] = {}
        self.looked_up_at = time.monotonic()
        self.may_not: CleanstopError | None = None
        try:
            check_may_submit(author)
        except CleanstopError as error:
            self.may_not = error

    def read(self, lines: Sequence[Line]) -> list[Read]:
        """Read a lot's lines as far as that needs no database; the more so, the more of what they name is known."""
        return [self._read(line) for line in lines]

    def file(self, lines: Sequence[Read], meanwhile: Callable[[], object] = lambda: None) -> list[Outcome]:
        """File a lot of reports, each or not at all, and tell of each line what became of it, in their order.

        meanwhile: called when all is written, and only the database is still at work.

        A refused line keeps none of the others back; a fault of the registry's own undoes the whole lot.
        """
        if len(self.named) > REMEMBERED or time.monotonic() - self.looked_up_at > REMEMBERED_SECONDS:
            self._forget()
        try:
            with _nothing_collected():
                return self._file(lines, meanwhile)
        except BaseException:
            self._forget()  # a rig or a copy that was added for these lines is there no more
            raise

    @transaction.atomic
    def _file(self, lines: Sequence[Read], meanwhile: Callable[[], object]) -> list[Outcome]:
        Account.objects.select_for_update(no_key=True).get(
            pk=self.author.pk
        )  # the same lines twice: one after the other
        here = _here_already(self.author, [read.name.key for read in lines if read.name])
        outcomes, checked = [], []
        for read in lines:
            outcome, new = self._take(read, here.get(read.name.key) if read.name else None)
            outcomes.append(outcome)
            if outcome.state == FILED:
                here[read.name.key] = (read.name.fingerprint, outcome.report_id)
            if new is not None:
                checked.append(new)
        write_all(self.author, checked)
        meanwhile()
        return outcomes

    def _read(self, line: Line) -> Read:
        name, data = _name_of(line), dict(line.data)
        if name is None:
            return Read(line, None, data, error=_nests_too_deeply())
        submit = False
        try:
            submit = take_submit(data)
            resolved = self._resolved(data)
            known = len(resolved) == len(self._said(data)) and not _needs_rows(data)
            contents = read_contents(data | resolved, self.author) if known else None
        except CleanstopError as error:
            return Read(line, name, data, submit, error=error)
        return Read(line, name, data, submit, contents)

    def _take(self, read: Read, known: tuple[str, str] | None) -> tuple[Outcome, Checked | None]:
        """A line's outcome, and its report where that is still to be written."""
        if known:
            return _came_in_before(read.line, read.name, *known), None
        try:
            if read.submit and self.may_not:
                raise self.may_not
            if read.error:
                raise read.error
            if _needs_rows(read.data):
                return Outcome(FILED, self._by_itself(dict(read.data), read.submit, read.name)), None
            new = self._check(read)
        except CleanstopError as error:
            return Outcome(REFUSED, error=error), None
        return Outcome(FILED, new.report.public_id), new

    def _by_itself(self, data: dict[str, Any], submit: bool, name: _Name) -> str:
        report = file_report(author=self.author, data=data, submit=submit)
        ImportedReport.objects.create(
            author=self.author, key=name.key, fingerprint=name.fingerprint, report=report
        )
        return report.public_id

    def _check(self, read: Read) -> Checked:
        contents = read.contents or read_contents(read.data | self._resolved(read.data), self.author)
        report = new_report(self.author, contents.details)
        problems = check_without_frames(report, says_something=bool(contents.sweeps or contents.claims))
        if read.submit and problems:
            raise InvalidInput(problems)
        owned = with_equipment(self.author, report.lens, contents.details)
        report.copy, report.rig = owned.get("copy"), owned.get("rig")
        said = self._said(read.data)
        if "rig" in said:
            said.pop("body", None)  # it followed from the rig, whatever the line named
        self.named |= {words: owned[field] for field, words in said.items() if words and owned.get(field)}
        return Checked(report, contents, read.submit, read.name.key, read.name.fingerprint)

    def _resolved(self, data: Mapping[str, Any]) -> dict[str, Any]:
        """Of the things that a line names, those that are known already."""
        named = {field: self.named.get(words) for field, words in self._said(data).items()}
        return {field: item for field, item in named.items() if item is not None}

    @staticmethod
    def _said(data: Mapping[str, Any]) -> dict[str, tuple | None]:
        return {field: _said(field, data) for field in _NAMED if data.get(field)}

    def _forget(self) -> None:
        self.named.clear()
        self.looked_up_at = time.monotonic()


def _said(field: str, data: Mapping[str, Any]) -> tuple | None:
    """The words in which a line names a thing; a copy is one of a lens. None where they can't be looked up by."""
    words = data[field]
    plain = tuple(sorted(words.items())) if isinstance(words, dict) else words
    said = (field, plain, data.get("lens") if field == "copy" else None)
    try:
        hash(said)
    except TypeError:
        return None
    return said


def _needs_rows(data: Mapping[str, Any]) -> bool:
    return any(data.get(part) for part in _NEED_ROWS)


def _name_of(line: Line) -> _Name | None:
    """Keys of lines are apart from those of tables. None for a line that nests deeper than any report."""
    try:
        said = orjson.dumps(line.data, option=orjson.OPT_SORT_KEYS)
    except orjson.JSONEncodeError:
        return None
    fingerprint = hashlib.sha256(said).hexdigest()
    return _Name(f"batch:{line.key or fingerprint}", fingerprint)


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """A lot makes some hundred thousand things that all live until it is written: to look for garbage among them
    costs a tenth of its time and finds none."""
    collects = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collects:
            gc.enable()


def _here_already(author: Account, keys: Sequence[str]) -> dict[str, tuple[str, str]]:
    """Fingerprint and report of what came in before, by key."""
    came_in = ImportedReport.objects.filter(among("key", keys), author=author)
    rows = came_in.values_list("key", "fingerprint", "report__public_id")
    return {key: (fingerprint, report_id) for key, fingerprint, report_id in rows}


def _nests_too_deeply() -> InvalidInput:
    return InvalidInput(
        Problem(
            code="malformed-line",
            says="The line nests more deeply than any report.",
            remedy="Write each report as the reference shows it.",
        )
    )


def _came_in_before(line: Line, name: _Name, fingerprint: str, report_id: str) -> Outcome:
    if fingerprint == name.fingerprint:
        return Outcome(HERE, report_id)
    return Outcome(
        REFUSED,
        error=InvalidInput(
            Problem(
                code="line-key-reused",
                field="key",
                value=line.key,
                says=f"The key “{line.key}” stands for report {report_id}, which says something else.",
                remedy="Give each new report a key of its own; change the one that is here by revising it.",
            )
        ),
    )
