"""The database itself refuses to change or delete an event, whoever asks."""

from django.db.backends.base.base import BaseDatabaseWrapper

REFUSAL = "the event log is append-only"

CREATE = {
    "sqlite": (
        f"""CREATE TRIGGER ledger_event_no_update BEFORE UPDATE ON ledger_event
            BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
        f"""CREATE TRIGGER ledger_event_no_delete BEFORE DELETE ON ledger_event
            BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END""",
    ),
    "postgresql": (
        f"""CREATE FUNCTION ledger_event_refuse() RETURNS trigger LANGUAGE plpgsql AS
            $$ BEGIN RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'integrity_constraint_violation'; END $$""",
        """CREATE TRIGGER ledger_event_no_change BEFORE UPDATE OR DELETE ON ledger_event
            FOR EACH ROW EXECUTE FUNCTION ledger_event_refuse()""",
        """CREATE TRIGGER ledger_event_no_truncate BEFORE TRUNCATE ON ledger_event
            FOR EACH STATEMENT EXECUTE FUNCTION ledger_event_refuse()""",
    ),
}
DROP = {
    "sqlite": ("DROP TRIGGER ledger_event_no_update", "DROP TRIGGER ledger_event_no_delete"),
    "postgresql": (
        "DROP TRIGGER ledger_event_no_truncate ON ledger_event",
        "DROP TRIGGER ledger_event_no_change ON ledger_event",
        "DROP FUNCTION ledger_event_refuse()",
    ),
}


def create_triggers(connection: BaseDatabaseWrapper) -> None:
    """Close the event table against change. The registry runs on SQLite and PostgreSQL only."""
    _run(connection, CREATE[connection.vendor])


def drop_triggers(connection: BaseDatabaseWrapper) -> None:
    """Open it again: for undoing the migration, and for tests that empty their database."""
    _run(connection, DROP[connection.vendor])


def _run(connection: BaseDatabaseWrapper, statements: tuple[str, ...]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
