"""Many new rows of one table at once: by COPY on PostgreSQL, by bulk_create on SQLite."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

import pyarrow
import pyarrow.csv
from django.db import connection, models
from django.db.models.lookups import Lookup

_ARROW = {
    "BigAutoField": pyarrow.int64(),
    "BigIntegerField": pyarrow.int64(),
    "BooleanField": pyarrow.bool_(),
    "CharField": pyarrow.string(),
    "DateField": pyarrow.date32(),
    "DateTimeField": pyarrow.timestamp("us", tz="UTC"),
    "FloatField": pyarrow.float64(),
    "IntegerField": pyarrow.int64(),
    "JSONField": pyarrow.string(),
    "PositiveIntegerField": pyarrow.int64(),
    "PositiveSmallIntegerField": pyarrow.int64(),
    "SlugField": pyarrow.string(),
    "TextField": pyarrow.string(),
}
_WITHOUT_HEADER = pyarrow.csv.WriteOptions(include_header=False)


def reserve_keys(model: type[models.Model], count: int) -> list[int]:
    """Primary keys of rows that are about to be added, so that rows of other tables can name them. Call it inside
    the transaction that adds them."""
    table, column = model._meta.db_table, model._meta.pk.column
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT nextval(pg_get_serial_sequence(%s, %s)) FROM generate_series(1, %s)",
                [table, column, count],
            )
            return [key for (key,) in cursor]
        cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
        last = (cursor.fetchone() or (0,))[0]
        return list(range(last + 1, last + 1 + count))


def add_rows(model: type[models.Model], names: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Add rows whose values stand in the order of names, as add_columns does."""
    if columns := list(zip(*rows, strict=True)):
        add_columns(model, dict(zip(names, columns, strict=True)))


def add_columns(model: type[models.Model], columns: Mapping[str, Sequence[Any]]) -> None:
    """Add rows given by their columns, all equally long, under the names of the model's attributes.

    Nothing is filled in: a column without a default in the database has to be among them. Raises KeyError for a
    kind of column that isn't in the table above.
    """
    if not any(map(len, columns.values())):
        return
    if connection.vendor == "postgresql":
        _copy(model, columns)
    else:
        rows = zip(*columns.values(), strict=True)
        model._base_manager.bulk_create(
            [model(**dict(zip(columns, row, strict=True))) for row in rows], batch_size=500
        )


def among(field: str, values: Sequence[str]) -> Lookup:
    """A condition for filter(): the field's text is one of values, however many. They go as one parameter, where
    `__in` takes a millisecond for fifty."""
    return _Among(models.F(field), values)


class _Among(Lookup):
    lookup_name = "among"
    prepare_rhs = False

    def as_postgresql(self, compiler, connection):
        field, parameters = self.process_lhs(compiler, connection)
        return f"{field} = ANY(%s)", [*parameters, list(self.rhs)]

    def as_sqlite(self, compiler, connection):
        field, parameters = self.process_lhs(compiler, connection)
        return f"{field} IN (SELECT value FROM json_each(%s))", [*parameters, json.dumps(list(self.rhs))]


def _copy(model: type[models.Model], columns: Mapping[str, Sequence[Any]]) -> None:
    """Turned into text column by column rather than value by value, which takes a tenth of the time. What is unknown
    becomes nothing, and an empty text two quotes: so COPY's CSV tells them apart."""
    fields = _fields(model, tuple(columns))
    arrays = [_column(field, values) for field, values in zip(fields, columns.values(), strict=True)]
    text = pyarrow.BufferOutputStream()
    pyarrow.csv.write_csv(pyarrow.Table.from_arrays(arrays, names=list(columns)), text, _WITHOUT_HEADER)
    quoted = ", ".join(connection.ops.quote_name(field.column) for field in fields)
    statement = f"COPY {connection.ops.quote_name(model._meta.db_table)} ({quoted}) FROM STDIN (FORMAT csv)"
    with connection.cursor() as cursor, cursor.copy(statement) as copy:
        copy.write(memoryview(text.getvalue()))


@lru_cache
def _fields(model: type[models.Model], names: tuple[str, ...]) -> list[models.Field]:
    fields = {field.attname: field for field in model._meta.concrete_fields}
    return [fields[name] for name in names]


def _column(field: models.Field, values: Sequence[Any]) -> pyarrow.Array:
    if isinstance(field, models.JSONField):
        values = [json.dumps(value, cls=field.encoder) for value in values]
    column = field.target_field if field.is_relation else field
    return pyarrow.array(values, _ARROW[column.get_internal_type()])
