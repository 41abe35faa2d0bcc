"""The database itself refuses to change or delete the rows of an append-only table, whoever asks."""

from django.db.backends.base.base import BaseDatabaseWrapper

LOG, REFUSAL = "ledger_event", "the event log is append-only"


def close_table(connection: BaseDatabaseWrapper, table: str, refusal: str) -> None:
    """Let rows of a table be added only. The registry runs on SQLite and PostgreSQL only.

    refusal: what the database says to whoever tries to change one; no quotation mark in it.
    """
    if connection.vendor == "sqlite":
        _run(connection, [_on_sqlite(table, act, refusal) for act in ("update", "delete")])
    else:
        _run(connection, _on_postgresql(table, refusal))


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


def _on_sqlite(table: str, act: str, refusal: str) -> str:
    return (
        f"CREATE TRIGGER {table}_no_{act} BEFORE {act.upper()} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{refusal}'); END"
    )


def _on_postgresql(table: str, refusal: str) -> list[str]:
    return [
        f"CREATE FUNCTION {table}_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{refusal}' USING ERRCODE = 'integrity_constraint_violation'; END $$",
        f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table} "
        f"FOR EACH ROW EXECUTE FUNCTION {table}_refuse()",
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_refuse()",
    ]


def _run(connection: BaseDatabaseWrapper, statements: list[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
