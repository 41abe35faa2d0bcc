"""Deciding over the API: foreseen, proposed, agreed to, taken back; read by anyone."""

import pytest

from registry.ledger.worker import drain_tasks
from registry.standings.queries import open_conflicts
from tests.api.conftest import with_token
from tests.factories import AccountFactory, LensFactory
from tests.standings.evidence import divide

pytestmark = pytest.mark.django_db
DECISIONS = "/api/v1/decisions/"


@pytest.fixture
def lens():
    return LensFactory(widest_f=2)


@pytest.fixture
def divided(lens):
    return divide(lens)


@pytest.fixture
def conflict(lens, divided):
    return open_conflicts(lens).get()


@pytest.fixture
def aside(conflict, divided):
    return {
        "act": "set-aside",
        "conflict": conflict.pk,
        "reports": [report.public_id for report in divided[3:]],
        "reason_code": "not-a-target",
        "reason": "The frames show the dunes.",
        "version": conflict.version,
    }


def test_a_conflict_tells_its_impact_and_what_each_decision_would_change(anyone, conflict):
    told = anyone.get(f"/api/v1/conflicts/{conflict.pk}/").json()
    assert told["impact"] == pytest.approx(told["stake"], abs=1e-5)
    assert told["stake"] > 0.2
    foreseen = anyone.get(f"/api/v1/conflicts/{conflict.pk}/foreseen/").json()
    accept = foreseen[-1]
    assert (accept["act"], accept["expected"], accept["needs_a_second"]) == ("accept", [], False)
    both = next(one for one in foreseen if one["act"] == "set-aside" and len(one["reports"]) == 2)
    assert both["needs_a_second"]
    assert both["expected"][0]["after"] == "clean to f/11 (fair)"


def test_a_decision_is_foreseen_proposed_agreed_to_and_taken_back(anyone, as_moderator, lens, aside):
    before = anyone.get(f"/api/v1/lenses/{lens.slug}/").json()["answer"]
    foreseen = as_moderator.post(f"{DECISIONS}foresee/", aside)
    assert (foreseen.status_code, foreseen.json()["needs_a_second"]) == (200, True)
    assert anyone.get(DECISIONS).json()["items"] == []
    made = as_moderator.post(DECISIONS, aside)
    assert (made.status_code, made.json()["status"]) == (201, "waiting")
    assert (
        as_moderator.post(made["Location"] + "agree/", {"reason": "I do."}).json()["type"]
        == "/problems/own-proposal"
    )
    second = with_token(AccountFactory(moderator=True), "read", "moderate", "submit")
    assert second.post(made["Location"] + "agree/", {"reason": "Plainly dunes."}).status_code == 201
    drain_tasks()
    assert anyone.get(made["Location"]).json()["status"] == "in-force"
    assert anyone.get(f"/api/v1/lenses/{lens.slug}/").json()["answer"]["sentence"] == "clean to f/11"
    undone = second.post(made["Location"] + "undo/", {"reason": "A wall behind the dunes."})
    assert (undone.status_code, undone.json()["about"]) == (201, made.json()["id"])
    drain_tasks()
    assert anyone.get(f"/api/v1/lenses/{lens.slug}/").json()["answer"] == before
    assert (
        anyone.get(DECISIONS, {"report": aside["reports"][0]}).json()["items"][-1]["status"] == "taken-back"
    )


def test_the_same_key_decides_once(as_moderator, anyone, conflict):
    sent = {"act": "accept", "conflict": conflict.pk, "reason": "Nothing tells them apart."}
    first = as_moderator.post(DECISIONS, sent, headers={"Idempotency-Key": "one"})
    again = as_moderator.post(DECISIONS, sent, headers={"Idempotency-Key": "one"})
    assert first.json() == again.json()
    assert len(anyone.get(DECISIONS).json()["items"]) == 1


def test_who_saw_an_older_state_is_refused(as_moderator, aside, conflict, divided):
    ask = {"act": "ask", "conflict": conflict.pk, "reports": aside["reports"][:1], "reason": "Which filter?"}
    assert as_moderator.post(DECISIONS, ask).json()["due"]
    stale = as_moderator.post(DECISIONS, aside)
    assert (stale.status_code, stale.json()["type"]) == (409, "/problems/changed-meanwhile")


def test_an_author_consents_to_corrected_gear_with_the_scope_to_submit(as_moderator, lens, divided):
    other = LensFactory(widest_f=2)
    sent = {
        "act": "correct-gear",
        "reports": [divided[4].public_id],
        "changes": {"lens": other.slug},
        "reason": "EXIF.",
    }
    made = as_moderator.post(DECISIONS, sent)
    assert made.json()["status"] == "waiting"
    stranger = with_token(divided[0].author, "read", "submit")
    assert stranger.post(made["Location"] + "agree/", {"reason": "Yes."}).status_code == 403
    author = with_token(divided[4].author, "read", "submit")
    assert author.post(made["Location"] + "agree/", {"reason": "Oh yes."}).json()["act"] == "consent"
    divided[4].refresh_from_db()
    assert divided[4].lens == other


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"act": "forgive"}, "#/act"),
        ({"reports": []}, "#/reports"),
        ({"reports": ["nosuchone0"]}, None),
        ({"act": "split", "factor": "weather"}, "#/factor"),
        ({"reason_code": None}, "#/reason_code"),
        ({"conflict": 999999}, "#/conflict"),
        ({"because": "x"}, "#/because"),
    ],
)
def test_what_is_wrong_is_named(as_moderator, aside, wrong, pointer):
    answer = as_moderator.post(
        DECISIONS, {key: value for key, value in (aside | wrong).items() if value is not None}
    )
    assert answer.status_code in (404, 422)
    if pointer:
        assert pointer in [entry.get("pointer") for entry in answer.json()["errors"]]


def test_decisions_narrow_by_lens_conflict_and_act(anyone, as_moderator, conflict, lens):
    as_moderator.post(DECISIONS, {"act": "accept", "conflict": conflict.pk, "reason": "Let it be."})
    for query, count in (
        ({"lens": lens.slug}, 1),
        ({"conflict": conflict.pk}, 1),
        ({"act": "ask"}, 0),
        ({"lens": "another"}, 0),
    ):
        assert len(anyone.get(DECISIONS, query).json()["items"]) == count, query
