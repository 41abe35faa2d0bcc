"""Newcomers' reports over the API: confirmed by someone established, or refused by a moderator."""

import pytest
from django.utils import timezone

from registry.reports.models import ReportState
from tests.api.conftest import with_token
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
WAITING = "/api/v1/waiting-reports/"


@pytest.fixture
def waiting():
    return ReportFactory(state=ReportState.WAITING, submitted_at=timezone.now(), grades={4: 0, 8: 0, 11: 2})


@pytest.fixture
def established():
    """Someone with a report that counts."""
    report = ReportFactory(state=ReportState.SUBMITTED, submitted_at=timezone.now(), grades={8: 0})
    return with_token(report.author, "read", "submit")


def test_who_may_confirm_is_told_so_and_then_it_counts(anyone, established, as_contributor, waiting):
    assert [row["may_confirm"] for row in anyone.get(WAITING).json()["items"]] == [False]
    assert not as_contributor.get(f"{WAITING}{waiting.public_id}/").json()["may_confirm"]
    assert established.get(f"{WAITING}{waiting.public_id}/").json()["may_confirm"]
    refused = as_contributor.post(f"{WAITING}{waiting.public_id}/confirm/")
    assert (refused.status_code, refused.json()["type"]) == (403, "/problems/not-established")
    confirmed = established.post(f"{WAITING}{waiting.public_id}/confirm/")
    assert (confirmed.status_code, confirmed.json()["state"]) == (200, "submitted")
    assert anyone.get(WAITING).json()["items"] == []
    again = established.post(f"{WAITING}{waiting.public_id}/confirm/")
    assert (again.status_code, again.json()["type"]) == (409, "/problems/wrong-state")


def test_nobody_confirms_their_own(waiting):
    author = with_token(waiting.author, "read", "submit")
    assert author.post(f"{WAITING}{waiting.public_id}/confirm/").status_code == 403


def test_a_moderator_refuses_it_by_a_decision_that_can_be_taken_back(anyone, as_moderator, waiting, drain):
    why = {"reason_code": "not-a-target", "reason": "A street was graded."}
    refused = as_moderator.post(f"{WAITING}{waiting.public_id}/refuse/", why)
    assert (refused.status_code, refused.json()["act"]) == (201, "set-aside")
    assert refused.json()["status"] == "in-force"
    assert anyone.get(refused["Location"]).json() == refused.json()
    waiting.refresh_from_db()
    assert waiting.state == ReportState.SET_ASIDE
    undone = as_moderator.post(refused["Location"] + "undo/", {"reason": "It was a wall."})
    assert undone.status_code == 201
    assert [row["id"] for row in anyone.get(WAITING).json()["items"]] == [waiting.public_id]


def test_a_report_that_does_not_wait_is_not_refused_here(as_moderator):
    report = ReportFactory(state=ReportState.SUBMITTED, submitted_at=timezone.now(), grades={8: 0})
    why = {"reason_code": "other", "reason": "Hm."}
    assert as_moderator.post(f"{WAITING}{report.public_id}/refuse/", why).status_code == 404


def test_a_refusal_says_why(as_moderator, waiting):
    answer = as_moderator.post(f"{WAITING}{waiting.public_id}/refuse/", {"reason_code": "dislike"})
    assert {entry["pointer"] for entry in answer.json()["errors"]} == {"#/reason_code", "#/reason"}


def test_a_second_factor_is_asked_for_where_the_installation_wants_it(as_moderator, waiting, settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = True
    why = {"reason_code": "other", "reason": "Hm."}
    for address, sent in ((f"{WAITING}{waiting.public_id}/refuse/", why), ("/api/v1/blocks/", {})):
        answer = as_moderator.post(address, sent) if sent else as_moderator.get(address)
        assert answer.json()["type"] == "/problems/second-factor-first"
