"""The columns of a table of reports, as a curator fills it in a spreadsheet: what each is called and holds."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass

from registry.errors import Problem
from registry.reports.models import Basis, ClaimSays, ConversionKind, FilterPosition, FindingKind
from registry.reports.rules.light import LIGHT_GROUPS

REPORT, ROW = "report", "row"
WORD, NUMBER, DAY, CHOICE = "word", "number", "day", "choice"


@dataclass(frozen=True)
class Column:
    """One column. of: whether its cells speak of the whole report, or of their own row. path: the field of a
    report's data that it fills (registry.reports.services.file_report). choices: what may stand in it."""

    name: str
    of: str
    path: str
    explains: str
    holds: str = WORD
    choices: tuple[str, ...] = ()


def _finding(kind: FindingKind) -> Column:
    return Column(
        kind.value.replace("-", "_"), REPORT, f"findings.{kind}", f"{kind.label}, graded 0 to 4", NUMBER
    )


COLUMNS: tuple[Column, ...] = (
    Column(
        "report", REPORT, "",
        "A name of your own for the report, once for each. Rows with the same name are one report, and a report "
        "that came in under its name does not come in again. Left empty, a row is a report by itself.",
    ),
    Column("lens", REPORT, "lens", "The lens's name or its address here. Left empty too, a row goes on with the "
           "report above it."),
    Column("teleconverter", REPORT, "teleconverter", "A teleconverter behind the lens"),
    Column("adapter", REPORT, "adapter", "An adapter between lens and body"),
    Column("basis", REPORT, "basis", "graded (by eye, your own test) or relayed (published elsewhere). Left empty, "
           "a report with a tester or a source is relayed.", CHOICE, (Basis.GRADED.value, Basis.RELAYED.value)),
    Column("focal_length_mm", ROW, "focal_length_mm", "Where on a zoom; a prime needs none", NUMBER),
    Column("says", ROW, "says", "A coarse result: " + ", ".join(ClaimSays.values), CHOICE, tuple(ClaimSays.values)),
    Column("f_number", ROW, "f_number", "The stop that the row speaks of, as marked on the lens", NUMBER),
    Column("grade", ROW, "grade", "Graded by eye at that stop, 0 to 4", NUMBER),
    Column("excess_ev", ROW, "excess_ev", "Excess in EV at that stop, where the source measured it", NUMBER),
    Column("excess_se", ROW, "excess_se", "Its standard error, EV", NUMBER),
    Column("tester_name", REPORT, "tester_name", "Whose result a relay is: it counts as theirs"),
    Column("citation_title", REPORT, "citation_title", "Title of the source"),
    Column("citation_author", REPORT, "citation_author", "Its author; the tester, if that is left empty"),
    Column("citation_url", REPORT, "citation_url", "Its address"),
    Column("citation_archive_url", REPORT, "citation_archive_url", "Address of an archived copy"),
    Column("citation_date", REPORT, "citation_date", "Day it was published", DAY),
    Column("body", REPORT, "body", "The camera body"),
    Column("conversion", REPORT, "rig.conversion", "Its conversion: " + ", ".join(ConversionKind.values), CHOICE,
           tuple(ConversionKind.values)),
    Column("conversion_cut_on_nm", REPORT, "rig.cut_on_nm", "The conversion's cut-on", NUMBER),
    Column("filter", REPORT, "filter", "The filter on the lens"),
    Column("filter_position", REPORT, "filter_position", "Where it sat: " + ", ".join(FilterPosition.values), CHOICE,
           tuple(FilterPosition.values)),
    Column("cut_on_nm", REPORT, "cut_on_nm", "Effective cut-on, where conversion and filter are not named", NUMBER),
    Column("light_group", REPORT, "light_group", "For light without one cut-on: " + ", ".join(LIGHT_GROUPS), CHOICE,
           LIGHT_GROUPS),
    Column("copy", REPORT, "copy.label", "Which of your copies, if you have several"),
    Column("shot_on", REPORT, "shot_on", "Day of the test", DAY),
    Column("target", REPORT, "target", "What was photographed"),
    Column("light", REPORT, "light", "In which light"),
    Column("place", REPORT, "place", "Where"),
    Column("accessories", REPORT, "accessories", "Anything else in the light path"),
    *(_finding(kind) for kind in FindingKind),
    Column("notes", REPORT, "notes", "Anything else"),
)  # fmt: skip
BY_NAME = {column.name: column for column in COLUMNS}
PROBLEMS = "problems"  # a column of our own: what was wrong with the row; it is not read
_STOP_HEADING = re.compile(r"^f\s*/?\s*(\d{1,2}(?:[.,]\d{1,2})?)$", re.IGNORECASE)


@dataclass(frozen=True)
class Headings:
    """What a table's headings mean. columns: by heading; stops: f-number as written, of the headings that are stops
    and whose cells hold grades; problems: headings that mean nothing."""

    columns: dict[str, Column]
    stops: dict[str, str]
    problems: list[tuple[str, Problem]]

    def heading_of(self, name: str) -> str:
        """How the table writes the heading of a column; empty where it lacks the column."""
        return next((heading for heading, column in self.columns.items() if column.name == name), "")

    def heading_for(self, path: str) -> str:
        """The heading whose cells fill a path of a report's data, such as "claims[0].f_number"."""
        last = path.rpartition(".")[2]
        for heading, column in self.columns.items():
            if column.path and column.path == (path if column.of == REPORT else last):
                return heading
        return ""


def understood(headings: Iterable[str]) -> Headings:
    """What each heading means, whatever its case and however its words are joined."""
    columns: dict[str, Column] = {}
    stops: dict[str, str] = {}
    problems: list[tuple[str, Problem]] = []
    for heading in filter(None, headings):
        name = "_".join(heading.casefold().replace("-", " ").replace("_", " ").split())
        if stop := _STOP_HEADING.match(heading):
            stops[heading] = stop[1]
        elif name in BY_NAME and BY_NAME[name] not in columns.values():
            columns[heading] = BY_NAME[name]
        elif name != PROBLEMS:
            problems.append((heading, _unknown(heading, name)))
    if "lens" not in {column.name for column in columns.values()}:
        problems.append(
            (
                "lens",
                Problem(
                    code="lens-column-missing",
                    field="lens",
                    says="The table has no column “lens”.",
                    remedy="Start from the template, or name the column with the lenses “lens”.",
                ),
            )
        )
    return Headings(columns, stops, problems)


def _unknown(heading: str, name: str) -> Problem:
    near = difflib.get_close_matches(name, BY_NAME, n=1)
    twice = "It stands there twice" if name in BY_NAME else "It means nothing here"
    meant = f"Did you mean “{near[0]}”?" if near and near[0] != name else "Leave one of them out."
    if not near:
        meant = (
            "Use the names of the template, f/5.6 and the like for grades at a stop, or leave the column out."
        )
    return Problem(
        code="unknown-column",
        field=heading,
        value=heading,
        says=f"{twice}: the column “{heading}”.",
        remedy=meant,
    )
