"""What the ledger promises to those who record and to those who follow."""

import hashlib
from datetime import UTC, datetime

import pytest
from django.db import transaction
from django_tasks_db.models import DBTaskResult

from registry.ledger.hashing import FIRST_PREVIOUS_HASH, seal
from registry.ledger.models import Event
from registry.ledger.services import record
from tests.factories import AccountFactory

pytestmark = pytest.mark.django_db


def put(name="lens.seen", **data):
    with transaction.atomic():
        return record(name, actor=None, subject_kind="lens", subject_id="marram-35", data=data)


def test_events_are_numbered_without_gaps_from_one():
    assert [put().sequence for _ in range(3)] == [1, 2, 3]


def test_each_event_carries_the_hash_of_the_one_before():
    first, second = put(), put()
    assert first.previous_hash == FIRST_PREVIOUS_HASH
    assert second.previous_hash == first.hash


def test_an_event_names_its_actor_by_public_id():
    account = AccountFactory()
    event = record("lens.seen", actor=account, subject_kind="lens", subject_id="marram-35", data={})
    assert event.actor == account.public_id


def test_the_seal_is_sha256_of_the_canonical_json():
    # SHA-256: FIPS 180-4, here as Python's hashlib computes it from text written out by hand.
    at = datetime(2026, 3, 1, 20, 15, 0, 250000, tzinfo=UTC)
    text = (
        '[7,"report.submitted","2026-03-01T20:15:00.250000+00:00","k3","report","r1",'
        '{"ev":0.25,"lens":"marram"},"' + "0" * 64 + '"]'
    )
    assert (
        seal(
            sequence=7,
            name="report.submitted",
            at=at,
            actor="k3",
            subject_kind="report",
            subject_id="r1",
            data={"lens": "marram", "ev": 0.25},
            previous_hash="0" * 64,
        )
        == hashlib.sha256(text.encode()).hexdigest()
    )


@pytest.mark.parametrize(
    "value", [1e22, -0.0, 2.0, 0.1 + 0.2, 1e-7, 12345678901234567890, "dune – grass ⁴", None]
)
def test_what_the_database_gives_back_has_the_hash_it_was_recorded_with(value):
    event = Event.objects.get(pk=put(value=value, nested={"list": [value]}).pk)
    again = seal(
        **{
            field: getattr(event, field)
            for field in (
                "sequence",
                "name",
                "at",
                "actor",
                "subject_kind",
                "subject_id",
                "data",
                "previous_hash",
            )
        }
    )
    assert again == event.hash


@pytest.mark.django_db(transaction=True)
def test_recording_outside_a_transaction_is_a_programming_error():
    with pytest.raises(RuntimeError, match="needs a transaction"):
        record("lens.seen", actor=None, subject_kind="lens", subject_id="x", data={})


def test_a_number_that_json_cannot_hold_is_refused():
    with pytest.raises(ValueError, match="JSON"):
        put(excess_ev=float("nan"))


def test_followers_are_enqueued_with_the_event_and_undone_with_it(settings):
    settings.LEDGER_FOLLOWERS = "tests.queued.FOLLOWERS"
    with pytest.raises(KeyError), transaction.atomic():
        put("lens.tested")
        assert DBTaskResult.objects.count() == 1
        raise KeyError
    assert DBTaskResult.objects.count() == 0 == Event.objects.count()
    event = put("lens.tested")
    assert DBTaskResult.objects.get().args_kwargs == {"args": [event.sequence], "kwargs": {}}


def test_an_event_that_nobody_follows_enqueues_nothing():
    put("lens.seen")
    assert not DBTaskResult.objects.exists()
