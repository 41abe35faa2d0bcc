"""Writing a table's rows as CSV, NDJSON or Parquet, as they come. Pure: rows in, bytes out."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator
from datetime import date, datetime
from itertools import islice
from pathlib import Path
from typing import Any

import orjson
import pyarrow
import pyarrow.parquet

from registry.publishing.tables import Table

ROWS_AT_ONCE = 2_000
NESTED = ("object", "array")
# A spreadsheet takes a cell that begins so for a formula.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
_ARROW = {
    "string": pyarrow.string(),
    "number": pyarrow.float64(),
    "integer": pyarrow.int64(),
    "boolean": pyarrow.bool_(),
    "date": pyarrow.date32(),
    "datetime": pyarrow.timestamp("us", tz="UTC"),
    "object": pyarrow.string(),
    "array": pyarrow.string(),
}


def as_csv(table: Table, rows: Iterable[dict]) -> Iterator[bytes]:
    """UTF-8 with a header line; numbers in as many digits as they have, nothing for what is unknown.

    A text that a spreadsheet would take for a formula gets an apostrophe in front.
    """
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, lineterminator="\r\n")  # RFC 4180
    writer.writerow(table.field_names)
    for batch in _batches(rows):
        writer.writerows([_cell(field.type, row[field.name]) for field in table.fields] for row in batch)
        yield buffer.getvalue().encode()
        buffer.seek(0)
        buffer.truncate()
    if buffer.tell():
        yield buffer.getvalue().encode()


def as_ndjson(table: Table, rows: Iterable[dict]) -> Iterator[bytes]:
    """One JSON object a line; days and times as RFC 3339 writes them."""
    names = table.field_names
    for batch in _batches(rows):
        rows_in_order = ({name: row[name] for name in names} for row in batch)
        yield b"".join(orjson.dumps(row, option=orjson.OPT_APPEND_NEWLINE) for row in rows_in_order)


def write_parquet(table: Table, rows: Iterable[dict], path: Path) -> int:
    """Write row groups of a few thousand rows; returns how many rows. What a field means goes into its metadata."""
    schema = pyarrow.schema(
        [
            pyarrow.field(
                field.name,
                _ARROW[field.type],
                metadata={"description": field.says} | ({"unit": field.unit} if field.unit else {}),
            )
            for field in table.fields
        ],
        metadata={"description": table.says},
    )
    count = 0
    with pyarrow.parquet.ParquetWriter(path, schema, compression="zstd") as writer:
        for batch in _batches(rows):
            columns = {
                field.name: [_arrow_value(field.type, row[field.name]) for row in batch]
                for field in table.fields
            }
            writer.write_table(pyarrow.table(columns, schema=schema))
            count += len(batch)
    return count


def _batches(rows: Iterable[dict]) -> Iterator[list[dict]]:
    rows = iter(rows)
    while batch := list(islice(rows, ROWS_AT_ONCE)):
        yield batch


def _cell(kind: str, value: Any) -> Any:
    if value is None:
        return ""
    if kind in NESTED:
        return _nested(value)
    if kind == "boolean":
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    if kind == "string" and value[:1] in FORMULA_SIGNS:
        return f"'{value}"
    return _plain(value)


def _arrow_value(kind: str, value: Any) -> Any:
    if kind in NESTED:
        return _nested(value)
    return float(value) if kind == "number" and value is not None else value


def _nested(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True)


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date | datetime) else value
