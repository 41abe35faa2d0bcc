"""Many reports from one table: read whole, every problem told by row and column, nothing written."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from django.db.models import Model

from registry.accounts.models import Account
from registry.errors import InvalidInput, Problem
from registry.gear.models import Adapter, Body, Filter, Lens, Teleconverter
from registry.gear.queries import nearest_lenses
from registry.reports.models import Basis, ImportedReport, Report, ReportState
from registry.reports.queries import visible_reports
from registry.reports.rules.details import DETAIL_FIELDS, read_details
from registry.reports.rules.inputs import Input
from registry.reports.rules.lookups import gear_item
from registry.reports.rules.sources import source_key, source_of
from registry.reports.rules.submission import check_details
from registry.reports.rules.table_columns import Headings, understood
from registry.reports.rules.table_rows import Cell, ReportRows, reports_in
from registry.reports.services.contents import read_contents
from registry.spreadsheets import Table, read_table

MOST_BYTES, MOST_ROWS = 1_000_000, 5_000
MOST_REPORTS = 300  # that come in at once: all of them in one transaction, which others wait for
_GEAR: dict[str, type[Model]] = {
    "lens": Lens,
    "teleconverter": Teleconverter,
    "adapter": Adapter,
    "filter": Filter,
    "body": Body,
    "rig.body": Body,
}
# What read_contents says of a gear that was left out because it is not known: that was told at its cell already.
_LEFT_OUT = {"lens": "missing", "rig.body": "missing"}
# What follows from rig and filter, and is unknown while one of them is.
_LIGHT = ("rig", "filter", "cut_on_nm", "light_group", "body")
_OF_LIGHT = ("light-unknown", "not-infrared")
NEW, HERE = "new", "here"


@dataclass(frozen=True)
class CellProblem:
    """What is wrong with a cell: its row's number, its column's heading and letter; both empty for a whole row."""

    row: int
    heading: str
    letter: str
    problem: Problem


@dataclass(frozen=True)
class PlannedReport:
    """One report of a table. key: its name; rows: their numbers; state: "new", or "here" when it came in before.

    lens: None where it is not known. there: the report that it became before. readings, claims: how many it holds.
    earlier: a report that passes on the same source for the same lens, with which it will count once.
    """

    key: str
    fingerprint: str
    rows: tuple[int, ...]
    state: str
    lens: Lens | None
    basis: str
    readings: int
    claims: int
    content: dict[str, Any] = field(repr=False)
    there: Report | None = None
    earlier: Report | None = None


@dataclass(frozen=True)
class UnknownLens:
    """A lens that the table names and the registry does not know, with the nearest that it knows."""

    written: str
    rows: tuple[int, ...]
    near: tuple[Lens, ...]


@dataclass(frozen=True)
class TablePlan:
    """What a table would do. It can be imported when there are no problems."""

    table: Table
    reports: tuple[PlannedReport, ...]
    problems: tuple[CellProblem, ...]
    unknown_lenses: tuple[UnknownLens, ...]

    @property
    def new(self) -> list[PlannedReport]:
        return [report for report in self.reports if report.state == NEW]

    @property
    def here(self) -> list[PlannedReport]:
        return [report for report in self.reports if report.state == HERE]


def plan_table(
    *, author: Account, content: bytes | str, lenses: Mapping[str, str] | None = None
) -> TablePlan:
    """Read a table and say what it would do; nothing is written.

    content: a CSV file's bytes, or text as pasted. lenses: slugs by names as the table writes them, for names that
    the registry does not know. Raises TooLarge or Unreadable, as registry.spreadsheets.read_table does, for what is
    no such table; everything else that is wrong is in the plan, each problem at its cell.
    """
    table = read_table(content, most_bytes=MOST_BYTES, most_rows=MOST_ROWS)
    headings = understood(table.headings)
    if headings.problems:
        problems = tuple(_at(table, Cell(1, heading), problem) for heading, problem in headings.problems)
        return TablePlan(table, (), problems, ())
    return _Planner(author, table, headings, lenses or {}).plan()


class _Planner:
    """Reads one table's reports, looking every name of gear up once."""

    def __init__(self, author: Account, table: Table, headings: Headings, lenses: Mapping[str, str]):
        self.author, self.table, self.headings, self.lenses = author, table, headings, lenses
        self.known: dict[tuple[type[Model], str], tuple[Any, list[Problem]]] = {}
        self.unknown: dict[str, list[int]] = {}
        self.imported = {
            row.key.casefold(): row
            for row in ImportedReport.objects.filter(author=author).select_related("report__lens__maker")
        }

    def plan(self) -> TablePlan:
        reports, problems, seen = [], [], {}
        for rows in reports_in(self.table, self.headings):
            planned, found = self._planned(rows)
            twin = seen.setdefault(planned.fingerprint, planned)
            if twin is not planned:
                found.append((Cell(rows.rows[0].number), _twice(rows, twin)))
            reports.append(planned)
            problems += found
        if sum(planned.state == NEW for planned in reports) > MOST_REPORTS:
            problems.append((Cell(1), _too_many()))
        reports = self._beside_earlier(reports)
        problems.sort(key=lambda item: (item[0].row, self._place(item[0].heading)))
        unknown = tuple(
            UnknownLens(written, tuple(rows), tuple(nearest_lenses(written.replace("-", " "), limit=5)))
            for written, rows in self.unknown.items()
        )
        told = tuple(_at(self.table, cell, problem) for cell, problem in problems)
        return TablePlan(self.table, tuple(reports), told, unknown)

    def _beside_earlier(self, reports: list[PlannedReport]) -> list[PlannedReport]:
        """New relays, each with the report that passed on its source before; asked for all lenses at once."""
        lenses = {planned.lens.pk for planned in reports if planned.lens and planned.state == NEW}
        relays = visible_reports(self.author).filter(basis=Basis.RELAYED, lens__in=lenses)
        known: dict[tuple[int, str | None], Report] = {}
        for relay in relays.exclude(state=ReportState.WITHDRAWN).order_by("pk"):
            known.setdefault((relay.lens_id, source_of(relay)), relay)
        return [
            replace(planned, earlier=known.get((planned.lens.pk, _source_of(planned))))
            if planned.lens and planned.state == NEW and planned.basis == Basis.RELAYED
            else planned
            for planned in reports
        ]

    def _place(self, heading: str) -> int:
        return self.table.headings.index(heading) if heading in self.table.headings else -1

    def _planned(self, rows: ReportRows) -> tuple[PlannedReport, list[tuple[Cell, Problem]]]:
        found = list(rows.problems)
        fingerprint, key = rows.fingerprint, rows.key or f"rows {rows.fingerprint[:24]}"
        content = self._with_gear(rows, found)
        before = self.imported.get(key.casefold())
        if before is None:
            found += self._wrong(rows, content)
        elif before.fingerprint != fingerprint:
            found.append((self._named(rows), _changed(rows, before.report)))
        sweeps = content.get("sweeps", [])
        planned = PlannedReport(
            key=key,
            fingerprint=fingerprint,
            rows=tuple(row.number for row in rows.rows),
            state=NEW if before is None else HERE,
            lens=lens if isinstance(lens := content.get("lens"), Lens) else None,
            basis=content["basis"],
            readings=sum(len(sweep["readings"]) for sweep in sweeps),
            claims=len(content.get("claims", [])),
            content=content,
            there=before and before.report,
        )
        return planned, found

    def _with_gear(self, rows: ReportRows, found: list[tuple[Cell, Problem]]) -> dict[str, Any]:
        """The report's data with rows of the catalogue for its names; those not known are left out and told."""
        content = dict(rows.content)
        if "rig" in content:
            content["rig"] = dict(content["rig"])
        for path, kind in _GEAR.items():
            holder = content.get("rig") if path == "rig.body" else content
            name = path.rpartition(".")[2]
            if not holder or not holder.get(name):
                continue
            item, problems = self._looked_up(kind, holder[name])
            cell = rows.cell_of(path)
            found += [(cell, replace(problem, field=cell.heading)) for problem in problems]
            if problems and kind is Lens:
                self.unknown.setdefault(holder[name], []).append(cell.row)
            holder[name] = item
            if item is None:
                del holder[name]
        return content

    def _looked_up(self, kind: type[Model], written: str) -> tuple[Any, list[Problem]]:
        key = kind, written
        if key not in self.known:
            chosen = self.lenses.get(written, written) if kind is Lens else written
            source = Input({"gear": chosen})
            self.known[key] = gear_item(source, "gear", kind), source.problems
        return self.known[key]

    def _wrong(self, rows: ReportRows, content: dict[str, Any]) -> Iterator[tuple[Cell, Problem]]:
        """Everything that filing and submitting this report would refuse, at its cells."""
        try:
            read_contents(content, self.author)
            problems = []
        except InvalidInput as error:
            problems = [problem for problem in error.problems if not self._told_already(rows, problem)]
        problems += self._kept_from_counting(content, {problem.field for problem in problems}, rows)
        if not content.get("sweeps") and not content.get("claims"):
            problems.append(_nothing_said())
        for problem in problems:
            cell = rows.cell_of(problem.field)
            if problem.field not in rows.cells:
                cell = replace(cell, heading=self.headings.heading_for(problem.field) or cell.heading)
            yield cell, replace(problem, field=cell.heading)

    def _kept_from_counting(
        self, content: dict[str, Any], refused: set[str], rows: ReportRows
    ) -> list[Problem]:
        """What the details that were understood would keep from being submitted.

        A field that was refused, or left out because its name is not known, is not called missing as well.
        """
        source = Input({name: value for name, value in content.items() if name in DETAIL_FIELDS})
        details = read_details(source, self.author) | {"copy": None}
        doubtful = refused | {path for path in _GEAR if path in rows.cells and not _at_path(content, path)}
        light = any(field.startswith(_LIGHT) for field in doubtful)
        return [
            problem
            for problem in check_details(Report(author=self.author, **details))
            if problem.field not in doubtful and not (light and problem.code in _OF_LIGHT)
        ]

    def _told_already(self, rows: ReportRows, problem: Problem) -> bool:
        """Whether a name is only missing because it is not known."""
        return _LEFT_OUT.get(problem.field) == problem.code and problem.field in rows.cells

    def _named(self, rows: ReportRows) -> Cell:
        return Cell(rows.rows[0].number, self.headings.heading_of("report") if rows.key else "")


def _source_of(planned: PlannedReport) -> str | None:
    cited = planned.content
    return source_key(str(cited.get("citation_url", "")), str(cited.get("citation_title", "")))


def _at_path(content: Mapping[str, Any], path: str) -> Any:
    for name in path.split("."):
        content = content.get(name) if isinstance(content, Mapping) else None
    return content


def _at(table: Table, cell: Cell, problem: Problem) -> CellProblem:
    letter = table.letter_of(cell.heading) if cell.heading in table.headings else ""
    return CellProblem(cell.row, cell.heading, letter, problem)


def _twice(rows: ReportRows, twin: PlannedReport) -> Problem:
    return Problem(
        code="report-twice",
        value=rows.key,
        says=f"It says the same as row {twin.rows[0]}.",
        remedy="Keep one of the two; if they are two tests, say in both what sets them apart.",
    )


def _changed(rows: ReportRows, report: Report) -> Problem:
    state = ReportState(report.state).label
    return Problem(
        code="already-imported",
        field="report",
        value=rows.key,
        says=f"“{rows.key}” came in before as report {report.public_id} ({state}) and said something else then.",
        remedy="Revise that report on its page, or give this one another name.",
    )


def _too_many() -> Problem:
    return Problem(
        code="too-many",
        value=MOST_REPORTS,
        says=f"The table holds more than {MOST_REPORTS} new reports.",
        remedy="Split it into several tables; a report that came in with one of them does not come in again.",
    )


def _nothing_said() -> Problem:
    return Problem(
        code="nothing-said",
        field="says",
        says="The report holds no reading and no claim.",
        remedy="Give a grade at a stop, or say how far the lens stays clean.",
    )
