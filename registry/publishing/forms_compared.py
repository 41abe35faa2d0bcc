"""A table lies in a release in two forms that say the same; where they don't, one of them was changed."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path

import pyarrow

from registry.publishing.comparing import table_rows
from registry.publishing.package import path_of
from registry.publishing.tables import TABLES, Table
from registry.publishing.writing import NESTED, as_csv

UNREADABLE = (OSError, ValueError, KeyError, TypeError, csv.Error, pyarrow.ArrowException)


def first_difference(folder: Path, path: str) -> str | None:
    """The first cell in which both forms of the table at a path differ, in words; None where they say the same, the
    path is no table's, or a form can't be read at all."""
    table = next(
        (one for one in TABLES.values() if path in (path_of(one, "csv"), path_of(one, "parquet"))), None
    )
    if table is None:
        return None
    try:
        with (folder / path_of(table, "csv")).open(newline="", encoding="utf-8") as stream:
            return _first(table, csv.reader(stream), csv.reader(_as_lines(table, folder)))
    except UNREADABLE:
        return None


def _first(table: Table, written: Iterator[list[str]], from_parquet: Iterator[list[str]]) -> str | None:
    for number, (here, there) in enumerate(zip_longest(written, from_parquet)):
        if here is None or there is None:
            return f"row {number} stands in one of its forms only"
        for field, cell, twin in zip(table.fields, here, there, strict=True):
            if cell != twin and not (field.type == "number" and cell and twin and float(cell) == float(twin)):
                return f"row {number}, {field.name}: “{cell}” in the CSV, “{twin}” in the Parquet file"
    return None


def _as_lines(table: Table, folder: Path) -> Iterator[str]:
    """The lines of the CSV form, made anew from the Parquet form."""
    nested = [field.name for field in table.fields if field.type in NESTED]
    rows = (
        row | {name: json.loads(row[name]) for name in nested if row[name] is not None}
        for row in table_rows(folder, table.name)
    )
    for chunk in as_csv(table, rows):
        yield from io.StringIO(chunk.decode(), newline="")
