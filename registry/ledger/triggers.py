"""The database itself refuses to change or delete the rows of an append-only table, whoever asks."""

from django.db.backends.base.base import BaseDatabaseWrapper

LOG, REFUSAL = "ledger_event", "the event log is append-only"


def close_table(
    connection: BaseDatabaseWrapper,
    table: str,
    refusal: str,
    *,
    names_in: dict[str, tuple[str, ...]] | None = None,
) -> None:
    """Let rows of a table be added only. The registry runs on SQLite and PostgreSQL only.

    refusal: what the database says to whoever tries to change one; no quotation mark in it.
    names_in: members of JSON columns that hold people's names, by column. They alone may change: whoever closes their
    account is entitled to a pseudonym in what is kept for ever too.
    """
    if connection.vendor == "sqlite":
        _run(connection, _on_sqlite(table, refusal, _changed_on_sqlite(connection, table, names_in)))
    else:
        _run(connection, _on_postgresql(table, refusal, _changed_on_postgresql(names_in)))


def open_table(connection: BaseDatabaseWrapper, table: str) -> None:
    """Undo close_table: for undoing a migration, and for tests that empty their database."""
    if connection.vendor == "sqlite":
        _run(connection, [f"DROP TRIGGER {table}_no_{act}" for act in ("update", "delete")])
    else:
        drops = [f"DROP TRIGGER {table}_no_{act} ON {table}" for act in ("truncate", "change")]
        _run(connection, [*drops, f"DROP FUNCTION {table}_refuse()"])


def create_triggers(connection: BaseDatabaseWrapper) -> None:
    """Close the event log."""
    close_table(connection, LOG, REFUSAL)


def drop_triggers(connection: BaseDatabaseWrapper) -> None:
    """Open the event log."""
    open_table(connection, LOG)


def _on_sqlite(table: str, refusal: str, changed: str) -> list[str]:
    return [
        f"CREATE TRIGGER {table}_no_{act} BEFORE {act.upper()} ON {table} {when} "
        f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END"
        for act, when in (("update", f"WHEN {changed}"), ("delete", ""))
    ]


def _changed_on_sqlite(
    connection: BaseDatabaseWrapper, table: str, names_in: dict[str, tuple[str, ...]] | None
) -> str:
    """The condition under which an update changes more than names."""
    if not names_in:
        return "true"
    with connection.cursor() as cursor:
        columns = [column.name for column in connection.introspection.get_table_description(cursor, table)]
    paths = {column: ", ".join(f"'$.{name}'" for name in names) for column, names in names_in.items()}
    sides = [
        [
            f"json_remove({row}.{name}, {paths[name]})" if name in paths else f"{row}.{name}"
            for name in columns
        ]
        for row in ("OLD", "NEW")
    ]
    return " OR ".join(f"{old} IS NOT {new}" for old, new in zip(*sides, strict=True))


def _on_postgresql(table: str, refusal: str, changed: str) -> list[str]:
    return [
        f"CREATE FUNCTION {table}_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN IF TG_OP = 'UPDATE' THEN IF NOT ({changed}) THEN RETURN NEW; END IF; END IF; "
        f"RAISE EXCEPTION '{refusal}' USING ERRCODE = 'integrity_constraint_violation'; END $$",
        f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {table}_refuse()",
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_refuse()",
    ]


def _changed_on_postgresql(names_in: dict[str, tuple[str, ...]] | None) -> str:
    """The condition under which an update changes more than names."""
    if not names_in:
        return "true"
    old, new = (
        " || ".join(
            [
                f"(to_jsonb({row}) - '{{{','.join(names_in)}}}'::text[])",
                *(
                    f"jsonb_build_object('{column}', {row}.{column} - '{{{','.join(names)}}}'::text[])"
                    for column, names in names_in.items()
                ),
            ]
        )
        for row in ("OLD", "NEW")
    )
    return f"({old}) IS DISTINCT FROM ({new})"


def _run(connection: BaseDatabaseWrapper, statements: list[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
