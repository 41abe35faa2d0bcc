"""The event log over the API: anyone can read it in order, and check every seal with a few lines of their own."""

import hashlib
import json

import pytest
from django.db import transaction

from registry.ledger.models import Event
from registry.ledger.services import record
from registry.moderation.services import declare_interest
from tests.factories import AccountFactory, LensFactory

pytestmark = pytest.mark.django_db
EVENTS = "/api/v1/events/"
SEALED = ("sequence", "name", "at", "actor", "subject_kind", "subject_id", "data", "previous_hash")


def hash_of(event):
    """As the reference describes it: nothing of the registry's own code."""
    content = [event[name] for name in SEALED]
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


@pytest.fixture
def happened():
    """Events by a contributor and by a moderator, and one by the registry itself."""
    people = [AccountFactory(name="Ålesund"), AccountFactory(moderator=True, name="Avocet")]
    for account in people:
        declare_interest(account=account, lens=LensFactory())
    with transaction.atomic():
        record(
            "lens.weighed",
            actor=None,
            subject_kind="lens",
            subject_id="x",
            data={"mass_g": 410.0, "by": 0.25, "ü": ["€", None]},
        )
    return people


def test_anyone_can_recompute_every_seal_and_follow_the_chain(anyone, happened):
    events = anyone.get(EVENTS, {"order": "oldest"}).json()["items"]
    assert len(events) == Event.objects.count() >= 3
    previous = "0" * 64
    for number, event in enumerate(events, 1):
        assert event["sequence"] == number
        assert event["previous_hash"] == previous
        assert hash_of(event) == event["hash"]
        previous = event["hash"]


def test_newest_first_page_by_page_and_by_subject_or_name(anyone, happened):
    page = anyone.get(EVENTS, {"limit": 2}).json()
    assert [event["by"] for event in page["items"]] == ["", "Avocet"]
    assert anyone.get(page["next"]).json()["items"][0]["by"] == "Ålesund"
    assert len(anyone.get(EVENTS, {"name": "lens.weighed"}).json()["items"]) == 1
    about = {"subject_kind": "account", "subject_id": happened[0].public_id}
    assert [event["name"] for event in anyone.get(EVENTS, about).json()["items"]] == ["interest.declared"]
    assert anyone.get(f"{EVENTS}1/").json()["sequence"] == 1
    assert anyone.get(f"{EVENTS}999/").status_code == 404


def test_where_moderators_are_not_named_the_log_names_none_and_the_chain_still_holds(
    anyone, happened, settings
):
    settings.DECISIONS_NAME_MODERATORS = False
    mine, theirs, _ = anyone.get(EVENTS, {"order": "oldest"}).json()["items"]
    assert (theirs["by"], theirs["actor"]) == ("a moderator", None)
    assert mine["actor"] == happened[0].public_id
    assert theirs["previous_hash"] == mine["hash"]


def test_nobody_writes_it(as_moderator, happened):
    for method in ("post", "put", "patch", "delete"):
        assert getattr(as_moderator, method)(EVENTS, {}).status_code == 405
        assert getattr(as_moderator, method)(f"{EVENTS}1/", {}).status_code == 405
