"""The event log refuses change, and shows it when someone got round the refusal."""

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction

from registry.ledger.hashing import FIRST_PREVIOUS_HASH
from registry.ledger.models import Event
from registry.ledger.services import record, verify
from registry.ledger.triggers import create_triggers, drop_triggers

pytestmark = pytest.mark.django_db

EMPTY = {"sqlite": "DELETE FROM ledger_event", "postgresql": "TRUNCATE ledger_event CASCADE"}


@pytest.fixture
def five_events():
    return [
        record("lens.seen", actor=None, subject_kind="lens", subject_id=str(n), data={"ev": n / 4})
        for n in range(5)
    ]


@pytest.fixture
def forge(five_events):
    """SQL by someone who can switch the triggers off."""

    def run(*statements):
        drop_triggers(connection)
        with connection.cursor() as cursor:
            for statement in statements:
                cursor.execute(statement)
        create_triggers(connection)

    return run


def found():
    return [(problem.code, problem.value) for problem in verify()]


def test_an_untouched_log_has_no_fault(five_events):
    assert verify() == []


@pytest.mark.parametrize(
    "act",
    [
        lambda: Event.objects.filter(pk=2).update(name="lens.praised"),
        lambda: Event.objects.filter(pk=2).delete(),
        lambda: Event.objects.all().delete(),
    ],
    ids=["update", "delete one", "delete all"],
)
def test_the_database_refuses_to_change_or_delete_an_event(five_events, act):
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        act()
    assert Event.objects.count() == 5


def test_emptying_the_table_at_a_stroke_is_refused(five_events):
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        connection.cursor().execute(EMPTY[connection.vendor])


@pytest.mark.parametrize(
    "column, value",
    [
        ("name", "'lens.praised'"),
        ("at", "'2020-01-01 00:00:00+00:00'"),
        ("actor", "'someone'"),
        ("subject_kind", "'body'"),
        ("subject_id", "'9'"),
        ("data", """'{"ev": 9}'"""),
    ],
)
def test_a_changed_column_is_found(forge, column, value):
    forge(f"UPDATE ledger_event SET {column} = {value} WHERE sequence = 3")
    assert found() == [("event-changed", 3)]


def test_a_changed_row_that_was_sealed_anew_is_found_at_the_next_one(forge):
    forge(f"UPDATE ledger_event SET hash = '{'a' * 64}' WHERE sequence = 3")
    assert found() == [("event-changed", 3), ("event-changed", 4)]


def test_a_removed_row_is_found(forge):
    forge("DELETE FROM ledger_event WHERE sequence IN (2, 3)")
    assert verify()[0].says == "Events 2 to 3 are missing from the event log."


def test_a_removed_first_row_is_found(forge):
    forge("DELETE FROM ledger_event WHERE sequence = 1")
    assert found() == [("event-missing", 1)]


def test_a_removed_row_whose_gap_was_closed_is_found(forge):
    forge(
        "DELETE FROM ledger_event WHERE sequence = 3",
        "UPDATE ledger_event SET sequence = 3 WHERE sequence = 4",
        "UPDATE ledger_event SET sequence = 4 WHERE sequence = 5",
    )
    assert ("event-changed", 3) in found()


def test_two_rows_that_changed_places_are_found(forge):
    forge(
        "UPDATE ledger_event SET sequence = 99 WHERE sequence = 2",
        "UPDATE ledger_event SET sequence = 2 WHERE sequence = 3",
        "UPDATE ledger_event SET sequence = 3 WHERE sequence = 99",
    )
    assert {value for _, value in found()} == {2, 3, 4}


def test_a_cut_off_end_is_found_with_a_hash_noted_down_earlier(five_events, forge):
    noted = (five_events[-1].sequence, five_events[-1].hash)
    assert verify(known=noted) == []
    forge("DELETE FROM ledger_event WHERE sequence = 5")
    assert verify() == []
    assert [problem.code for problem in verify(known=noted)] == ["event-not-the-known-one"]


def test_a_wiped_log_is_found_with_a_hash_noted_down_earlier(five_events, forge):
    forge("DELETE FROM ledger_event")
    assert [problem.value for problem in verify(known=(5, five_events[-1].hash))] == [5]


class TestTheCommand:
    def test_prints_the_newest_event_in_the_form_it_takes_back(self, five_events, capsys):
        call_command("verify_event_log")
        printed = capsys.readouterr().out.split()[-1]
        assert printed == f"5:{five_events[-1].hash}"
        call_command("verify_event_log", known=printed)

    def test_an_empty_log_is_whole(self, capsys):
        call_command("verify_event_log")
        assert "no event yet" in capsys.readouterr().out

    def test_exits_with_an_error_that_names_each_row(self, forge, capsys):
        forge("UPDATE ledger_event SET actor = 'someone' WHERE sequence = 3")
        with pytest.raises(CommandError, match="1 faults"):
            call_command("verify_event_log")
        assert "Event 3 (lens.seen" in capsys.readouterr().err

    @pytest.mark.parametrize("text", ["5", "five:" + FIRST_PREVIOUS_HASH, "5:abc"])
    def test_a_known_event_in_another_form_is_refused(self, text):
        with pytest.raises(CommandError, match="as an earlier run printed it"):
            call_command("verify_event_log", known=text)
