"""Many new rows of one table at once: by COPY on PostgreSQL, by bulk_create on SQLite."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connection, models
from django.db.backends.postgresql.psycopg_any import Jsonb


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
    """Add rows whose values stand in the order of names, which are attributes of the model's columns.

    Nothing is filled in: a column without a default in the database has to be among names.
    """
    if connection.vendor == "postgresql":
        _copy(model, names, rows)
    else:
        model._base_manager.bulk_create(
            [model(**dict(zip(names, row, strict=True))) for row in rows], batch_size=500
        )


def _copy(model: type[models.Model], names: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    fields = {field.attname: field for field in model._meta.concrete_fields}
    quoted = ", ".join(connection.ops.quote_name(fields[name].column) for name in names)
    as_json = [place for place, name in enumerate(names) if isinstance(fields[name], models.JSONField)]
    statement = f"COPY {connection.ops.quote_name(model._meta.db_table)} ({quoted}) FROM STDIN"
    with connection.cursor() as cursor, cursor.copy(statement) as copy:
        for row in rows:
            if as_json:
                row = list(row)
                for place in as_json:
                    row[place] = Jsonb(row[place])
            copy.write_row(row)
