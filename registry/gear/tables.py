"""Rows of a CSV or JSON file, each with the number by which a person finds it again."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import IO, Any

from registry.errors import Problem, Unreadable

Rows = Iterable[Mapping[str, Any]]


def numbered_rows(source: Path | str | IO | Rows) -> Iterator[tuple[int, Mapping[str, Any]]]:
    """Rows of a file's path, an open file, or rows as they are.

    The number is the file's line for CSV and the row's place, from 1, for JSON and rows.
    Raises Unreadable for a file that is no such table.
    """
    if isinstance(source, str | Path):
        try:
            source = io.BytesIO(Path(source).read_bytes())
        except OSError as failure:
            raise Unreadable(
                Problem(
                    code="file-not-readable",
                    value=str(source),
                    says=f"“{source}” can't be read: {failure.strerror}.",
                    remedy="Give the path of a CSV or JSON file.",
                )
            ) from failure
    if not hasattr(source, "read"):
        yield from enumerate(source, 1)
        return
    text = _decoded(source.read()).strip("\n")
    if text.lstrip()[:1] in ("[", "{"):
        yield from enumerate(_json_rows(text), 1)
    else:
        yield from _csv_rows(text)


def _decoded(content: bytes | str) -> str:
    if isinstance(content, str):
        return content.removeprefix("\ufeff")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as failure:
        raise Unreadable(
            Problem(
                code="not-utf-8",
                says=f"The file is no UTF-8 text: byte {failure.start + 1} fits no character.",
                remedy="Save it again as UTF-8.",
            )
        ) from failure


def _json_rows(text: str) -> list[Mapping[str, Any]]:
    try:
        rows = json.loads(text)
    except json.JSONDecodeError as failure:
        raise Unreadable(
            Problem(
                code="not-json",
                says=f"The file is no JSON: {failure.msg} in line {failure.lineno}, column {failure.colno}.",
                remedy="Mend that place.",
            )
        ) from failure
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise Unreadable(
            Problem(
                code="not-a-list-of-rows",
                says="The JSON is no list of objects.",
                remedy="Give a list with one object per piece of gear: [{…}, {…}].",
            )
        )
    return rows


def _csv_rows(text: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
    reader = csv.DictReader(io.StringIO(text), restkey="", strict=True)
    try:
        for row in reader:
            extra = row.pop("", None)
            if extra:
                row |= {
                    f"cell {len(reader.fieldnames or []) + place}": cell
                    for place, cell in enumerate(extra, 1)
                }
            yield reader.line_num, row
    except csv.Error as failure:
        raise Unreadable(
            Problem(
                code="not-csv",
                value=reader.line_num,
                says=f"The file is no CSV: line {reader.line_num}: {failure}.",
                remedy="Part cells by commas, and put cells that hold commas or quotes between double quotes.",
            )
        ) from failure
