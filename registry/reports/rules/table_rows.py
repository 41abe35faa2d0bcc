"""From the rows of a table to reports as registry.reports.services.file_report takes them, knowing for every value
the cell that it came from."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from registry.errors import Problem
from registry.reports.models import Basis, ClaimSays
from registry.reports.rules.table_columns import CHOICE, DAY, NUMBER, REPORT, Column, Headings
from registry.spreadsheets import Row, Table

LONGEST_KEY = 80
_UNIT = re.compile(r"\s*(mm|nm|ev|m)$", re.IGNORECASE)
_NUMERIC_DAY = re.compile(r"^(\d{1,2})\.(\d{1,2})\.(\d{4})$")


@dataclass(frozen=True)
class Cell:
    """A cell by its row's number and its column's heading; heading "" stands for the row as a whole."""

    row: int
    heading: str = ""


@dataclass
class ReportRows:
    """The rows that make one report, as data for filing. key: what it is called, "" where a row has no name.

    cells: by path in the data, the cell it came from. problems: what is wrong with cells already.
    """

    key: str
    rows: list[Row]
    content: dict[str, Any] = field(default_factory=dict)
    cells: dict[str, Cell] = field(default_factory=dict)
    problems: list[tuple[Cell, Problem]] = field(default_factory=list)

    @property
    def fingerprint(self) -> str:
        """SHA-256 of what the rows say, in hex; the same however the cells were formatted."""
        said = json.dumps(self.content, sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(said.encode()).hexdigest()

    def cell_of(self, path: str) -> Cell:
        """The cell behind a dotted path, or the nearest thing to it that has one; else the report's first row."""
        while path:
            if path in self.cells:
                return self.cells[path]
            path = path[: max(path.rfind("."), path.rfind("["), 0)]
        return Cell(self.rows[0].number)


def reports_in(table: Table, headings: Headings) -> list[ReportRows]:
    """The reports of a table, in order of their first rows."""
    key_heading, lens_heading = headings.heading_of("report"), headings.heading_of("lens")
    reports: list[ReportRows] = []
    by_key: dict[str, ReportRows] = {}
    for row in table.rows:
        key = row.cells.get(key_heading, "")
        goes_on = not key and not row.cells.get(lens_heading, "") and reports
        report = reports[-1] if goes_on else by_key.get(key.casefold()) if key else None
        if report is None:
            report = ReportRows(key, [])
            reports.append(report)
            if key:
                by_key[key.casefold()] = report
        report.rows.append(row)
    for report in reports:
        _fill(report, headings)
    return reports


def _fill(report: ReportRows, headings: Headings) -> None:
    if len(report.key) > LONGEST_KEY:
        _refuse(
            report, Cell(report.rows[0].number, headings.heading_of("report")), "text-too-long", report.key[:40],
            f"The report's name has {len(report.key)} characters.", f"Shorten it to {LONGEST_KEY}.",
        )  # fmt: skip
    for heading, column in headings.columns.items():
        if column.of == REPORT and column.path:
            _fill_detail(report, heading, column)
    for row in report.rows:
        _fill_row(report, row, headings)
    content = report.content
    if "rig" in content:
        content["rig"] = {"body": content.pop("body", ""), **content["rig"]}
        if "body" in report.cells:
            report.cells["rig.body"] = report.cells["body"]
    if not content.get("basis"):
        cited = any(name.startswith(("citation", "tester")) for name in content)
        content["basis"] = str(Basis.RELAYED if cited else Basis.GRADED)


def _fill_detail(report: ReportRows, heading: str, column: Column) -> None:
    """One value for the whole report, from the first row that has it; another row may only repeat it."""
    stated = [(row.number, text) for row in report.rows if (text := row.cells.get(heading, ""))]
    if not stated:
        return
    first_row, first = stated[0]
    for number, text in stated[1:]:
        if text != first:
            _refuse(
                report, Cell(number, heading), "cell-disagrees", text,
                f"“{text}” disagrees with “{first}” in row {first_row} of the same report.",
                "Write it once for each report, or give the rows different names in the column “report”.",
            )  # fmt: skip
    value = as_meant(first, column)
    head, _, rest = column.path.partition(".")
    cell = Cell(first_row, heading)
    if head == "findings":
        findings = report.content.setdefault("findings", [])
        report.cells[f"findings[{len(findings)}]"] = cell
        findings.append({"kind": rest, "grade": value})
        return
    report.cells[column.path] = cell
    if rest:
        report.content.setdefault(head, {})[rest] = value
    else:
        report.content[head] = value


def _fill_row(report: ReportRows, row: Row, headings: Headings) -> None:
    """The reading, the grades by stop, or the claim of one row."""
    said = {
        column.name: (heading, as_meant(text, column))
        for heading, column in headings.columns.items()
        if column.of != REPORT and (text := row.cells.get(heading, ""))
    }
    focal = said.get("focal_length_mm", (headings.heading_of("focal_length_mm"), ""))
    grades = [(heading, stop) for heading, stop in headings.stops.items() if row.cells.get(heading, "")]
    judged = [name for name in ("grade", "excess_ev", "excess_se") if name in said]
    if "says" in said and judged:
        _refuse(
            report, Cell(row.number, said[judged[0]][0]), "row-says-two-things", said[judged[0]][1],
            "The row states a coarse result and a reading at once.", "Put the reading on a row of its own.",
        )  # fmt: skip
    elif "says" in said:
        _add_claim(report, row, said)
    elif judged or "f_number" in said:
        names = ("f_number", *judged)
        _add_reading(report, row, focal, {name: said[name] for name in names if name in said})
    for heading, stop in grades:
        grade = _number(row.cells[heading])
        _add_reading(report, row, focal, {"f_number": (heading, _number(stop)), "grade": (heading, grade)})
    if set(said) == {"focal_length_mm"} and not grades:
        _refuse(
            report, Cell(row.number), "row-says-nothing", None,
            "The row names a focal length and says nothing of it.",
            "Give a grade at a stop, or what the result is.",
        )  # fmt: skip


def _add_claim(report: ReportRows, row: Row, said: dict[str, tuple[str, str]]) -> None:
    claims = report.content.setdefault("claims", [])
    path = f"claims[{len(claims)}]"
    claims.append({name: said[name][1] for name in ("says", "f_number", "focal_length_mm") if name in said})
    report.cells[path] = Cell(row.number, said["says"][0])
    for name, (heading, _) in said.items():
        report.cells[f"{path}.{name}"] = Cell(row.number, heading)


def _add_reading(
    report: ReportRows, row: Row, at: tuple[str, str], values: dict[str, tuple[str, str]]
) -> None:
    """Add one reading to the sweep of its focal length. at, values: heading and text."""
    heading, focal = at
    sweeps = report.content.setdefault("sweeps", [])
    place = next((n for n, sweep in enumerate(sweeps) if sweep["focal_length_mm"] == focal), len(sweeps))
    if place == len(sweeps):
        sweeps.append({"focal_length_mm": focal, "readings": []})
        report.cells[f"sweeps[{place}]"] = Cell(row.number)
        report.cells[f"sweeps[{place}].focal_length_mm"] = Cell(row.number, heading)
    readings = sweeps[place]["readings"]
    path = f"sweeps[{place}].readings[{len(readings)}]"
    readings.append({name: value for name, (_, value) in values.items()})
    report.cells[path] = Cell(row.number)
    for name, (column, _) in values.items():
        report.cells[f"{path}.{name}"] = Cell(row.number, column)


def as_meant(text: str, column: Column) -> str:
    """A cell's text in the form that the services read: decimal points, bare numbers, days, known words."""
    if column.holds == NUMBER:
        return _number(text)
    if column.holds == DAY:
        return _day(text)
    if column.holds == CHOICE:
        return _choice(text, column)
    return text


def _number(text: str) -> str:
    """ "f/5,6" → "5.6", "720 nm" → "720"; what is no number is left for the services to quote."""
    bare = re.sub(r"^f\s*/\s*", "", _UNIT.sub("", text), flags=re.IGNORECASE).replace("−", "-")
    return bare.replace(",", ".") if bare.count(",") == 1 and "." not in bare else bare


def _day(text: str) -> str:
    """Days as 2024-05-31 or 31.5.2024; with slashes nobody knows which is the month."""
    written = _NUMERIC_DAY.match(text)
    if not written:
        return text
    try:
        return date(int(written[3]), int(written[2]), int(written[1])).isoformat()
    except ValueError:
        return text


_LABELS = {label.casefold(): str(value) for value, label in ClaimSays.choices}


def _choice(text: str, column: Column) -> str:
    """A known word however it is joined or capitalised, or a claim's words as the pages say them."""
    plain = "-".join(text.casefold().replace("_", " ").replace("-", " ").split())
    for choice in column.choices:
        if plain == choice.replace("_", "-"):
            return choice
    return _LABELS.get(text.casefold(), text) if column.name == "says" else text


def _refuse(report: ReportRows, cell: Cell, code: str, value: Any, says: str, remedy: str) -> None:
    report.problems.append(
        (cell, Problem(code=code, field=cell.heading, value=value, says=says, remedy=remedy))
    )
