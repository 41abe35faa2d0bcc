"""Tables as spreadsheets write and read them: CSV of several dialects in, CSV that runs no formula out.

CSV as in RFC 4180; besides commas, semicolons and tabs part cells, as spreadsheets write them where the comma is the
decimal sign, or put them on the clipboard.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from registry.errors import Problem, TooLarge, Unreadable

DELIMITERS = (",", ";", "\t")
# A cell that begins so would be run as a formula (OWASP, "CSV Injection"); an apostrophe makes it text.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
_WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


@dataclass(frozen=True)
class Row:
    """A row by its number, as the spreadsheet shows it (the header is row 1), and its cells by column heading."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True)
class Table:
    """headings: as written, in order. rows: without empty ones. notes: what was assumed in reading it."""

    headings: tuple[str, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()

    def letter_of(self, heading: str) -> str:
        """What a spreadsheet calls the column: A, B … Z, AA …"""
        place, letters = self.headings.index(heading) + 1, ""
        while place:
            place, rest = divmod(place - 1, 26)
            letters = chr(ord("A") + rest) + letters
        return letters


def read_table(content: bytes | str, *, most_bytes: int, most_rows: int) -> Table:
    """Read a CSV file, or cells pasted from a spreadsheet.

    Raises TooLarge beyond most_bytes or most_rows (file-too-large, too-many-rows), Unreadable for a workbook, for no
    text, or for text that is no table (not-csv, no-rows), with the row that is wrong.
    """
    size = len(content if isinstance(content, bytes) else content.encode())
    if size > most_bytes:
        raise TooLarge(
            Problem(
                code="file-too-large",
                value=size,
                says=f"The table has {size / 1e6:.1f} MB.",
                remedy=f"Split it into tables of at most {most_bytes / 1e6:g} MB.",
            )
        )
    text, notes = text_of(content)
    lines = list(_parsed(text, _delimiter_of(text)))
    header = lines[0] if lines else []
    headings = tuple(cell.strip() for cell in header)
    _check_headings(headings)
    rows = tuple(
        Row(number, _cells(headings, line, number))
        for number, line in enumerate(lines[1:], 2)
        if any(cell.strip() for cell in line)
    )
    if not rows:
        raise Unreadable(
            Problem(
                code="no-rows",
                says="The table has no rows below its header.",
                remedy="Write one row for each result, below the row of column names.",
            )
        )
    if len(rows) > most_rows:
        raise TooLarge(
            Problem(
                code="too-many-rows",
                value=len(rows),
                says=f"The table has {len(rows)} rows.",
                remedy=f"Split it into tables of at most {most_rows} rows.",
            )
        )
    return Table(headings, rows, notes)


def table_text(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV text; no cell is run as a formula by a program that opens it."""
    written = io.StringIO()
    writer = csv.writer(written)
    writer.writerow([harmless(heading) for heading in headings])
    for row in rows:
        writer.writerow([harmless(cell) for cell in row])
    return written.getvalue()


def harmless(cell: object) -> str:
    """A cell's text as it may stand in a CSV file: numbers as they are, formulas made text."""
    if cell is None:
        return ""
    text = str(cell)
    if isinstance(cell, int | float) or not text.startswith(FORMULA_SIGNS):
        return text
    return f"'{text}"


def _plain(cell: str) -> str:
    """A cell as it was meant: without white space around it, and without what harmless() put before it."""
    text = cell.strip().replace("\r\n", "\n")
    return text[1:] if text.startswith("'") and text[1:].startswith(FORMULA_SIGNS) else text


def text_of(content: bytes | str) -> tuple[str, tuple[str, ...]]:
    """A table's text, and what was assumed in reading it. Raises Unreadable as read_table does."""
    if isinstance(content, str):
        return content.removeprefix("\ufeff"), ()
    if content.startswith(_WORKBOOKS):
        raise Unreadable(
            Problem(
                code="workbook-not-csv",
                says="This is a workbook, not a CSV file.",
                remedy="Save the sheet as CSV (UTF-8) in your spreadsheet program, or copy its cells and paste them.",
            )
        )
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if content.startswith(mark):
            return _decoded_as(content, encoding), ()
    try:
        return content.decode("utf-8"), ()
    except UnicodeDecodeError:
        note = "The file is no UTF-8; it was read as Windows text (cp1252). Check that accented letters are right."
        return _decoded_as(content, "cp1252"), (note,)


def _decoded_as(content: bytes, encoding: str) -> str:
    try:
        return content.decode(encoding)
    except UnicodeDecodeError as failure:
        raise Unreadable(
            Problem(
                code="not-utf-8",
                value=failure.start + 1,
                says=f"The file is no text: byte {failure.start + 1} fits no character.",
                remedy="Save it again as CSV (UTF-8).",
            )
        ) from failure


def _delimiter_of(text: str) -> str:
    """What parts the cells of the header; of equals the first."""
    header = text.lstrip("\r\n").partition("\n")[0]
    return max(DELIMITERS, key=header.count)


def _parsed(text: str, delimiter: str) -> Iterable[list[str]]:
    # In pasted cells a quotation mark is a letter like any other.
    quoting = {"quoting": csv.QUOTE_NONE} if delimiter == "\t" and '"' not in text else {}
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True, **quoting)
    try:
        yield from reader
    except csv.Error as failure:
        raise Unreadable(
            Problem(
                code="not-csv",
                value=reader.line_num,
                says=f"The file is no CSV: line {reader.line_num}: {failure}.",
                remedy="Put cells that hold a separator or a quotation mark between double quotes, and double the "
                "quotation marks inside.",
            )
        ) from failure


def _check_headings(headings: Sequence[str]) -> None:
    named = [heading.casefold() for heading in headings if heading]
    twice = next((name for name in named if named.count(name) > 1), None)
    if twice or not named:
        raise Unreadable(
            Problem(
                code="column-twice" if twice else "header-missing",
                value=twice or "",
                says=f"The column “{twice}” stands there twice." if twice else "The table has no header.",
                remedy="Name each column once, in the first row.",
            )
        )


def _cells(headings: Sequence[str], line: Sequence[str], number: int) -> dict[str, str]:
    extra = [cell for cell in line[len(headings) :] if cell.strip()]
    unnamed = [cell for heading, cell in zip(headings, line, strict=False) if not heading and cell.strip()]
    if extra or unnamed:
        raise Unreadable(
            Problem(
                code="cell-without-column",
                value=(extra or unnamed)[0][:60],
                says=f"In row {number} the cell “{(extra or unnamed)[0][:60]}” stands in no named column.",
                remedy="Name its column in the first row, or put a cell that holds a separator between double quotes.",
            )
        )
    return {heading: _plain(cell) for heading, cell in zip(headings, line, strict=False) if heading}
