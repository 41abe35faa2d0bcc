"""Repeating a creating request with its Idempotency-Key creates once."""

import json

import pytest

from api.models import IdempotencyKey
from registry.reports.models import Report, Rig
from tests.api.conftest import with_token
from tests.api.parallel import at_once, separate_connections
from tests.factories import AccountFactory, BodyFactory, LensFactory
from tests.report_factories import jpeg_upload

pytestmark = pytest.mark.django_db
KEY = {"Idempotency-Key": "a-key-of-its-own"}


@pytest.fixture
def claim():
    return {
        "lens": LensFactory().slug,
        "basis": "relayed",
        "citation_title": "Infrared on the saltings",
        "cut_on_nm": 720,
        "claims": [{"says": "clean_to", "f_number": 8}],
    }


def test_the_same_key_and_body_give_the_same_answer(as_contributor, claim):
    first = as_contributor.post("/api/v1/reports/", claim, headers=KEY)
    again = as_contributor.post("/api/v1/reports/", dict(reversed(claim.items())), headers=KEY)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert (again["Location"], again["ETag"]) == (first["Location"], first["ETag"])
    assert again["Idempotent-Replay"] == "true"
    assert Report.objects.count() == 1


def test_the_same_key_with_another_body_is_refused(as_contributor, claim):
    as_contributor.post("/api/v1/reports/", claim, headers=KEY)
    answer = as_contributor.post("/api/v1/reports/", claim | {"notes": "more"}, headers=KEY)
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/idempotency-key-reused")


def test_a_request_that_was_refused_may_be_mended_under_its_key(as_contributor, claim):
    assert as_contributor.post("/api/v1/reports/", claim | {"lens": "?"}, headers=KEY).status_code == 422
    assert as_contributor.post("/api/v1/reports/", claim, headers=KEY).status_code == 201


def test_two_accounts_may_use_one_key(as_contributor, claim):
    as_contributor.post("/api/v1/reports/", claim, headers=KEY)
    other = with_token(AccountFactory(), "read", "submit")
    assert other.post("/api/v1/reports/", claim, headers=KEY).status_code == 201
    assert Report.objects.count() == 2


def test_a_form_with_files_is_recognised_by_its_files(as_contributor):
    def send(exposure):
        file = jpeg_upload(iso=exposure)
        return as_contributor.post("/api/v1/images/", {"frame": file}, format="multipart", headers=KEY)

    first = send(100)
    assert send(100).json() == first.json()
    assert send(200).status_code == 422


@pytest.mark.parametrize("sent", [[], [None, None], "x", 3, True, None])
def test_a_body_of_an_odd_shape_is_refused_under_a_key_too(as_contributor, sent):
    answer = as_contributor.post("/api/v1/rigs/", sent, headers=KEY)
    assert answer.status_code in (400, 422)


@pytest.mark.parametrize("key", ["", "x" * 201])
def test_an_unusable_key_is_refused(as_contributor, claim, key):
    answer = as_contributor.post("/api/v1/reports/", claim, headers={"Idempotency-Key": key})
    assert answer.json()["type"] == "/problems/idempotency-key-unusable"


def test_old_keys_are_forgotten(as_contributor, claim, contributor):
    as_contributor.post("/api/v1/reports/", claim, headers=KEY)
    IdempotencyKey.objects.update(created_at="2020-01-01T00:00Z")
    as_contributor.post("/api/v1/reports/", claim, headers=KEY)
    assert IdempotencyKey.objects.count() == 1
    assert Report.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_eight_repeats_at_once_create_one_rig_and_one_report(tmp_path, claim):
    account = AccountFactory()
    body = BodyFactory()
    clients = [with_token(account, "read", "submit") for _ in range(8)]
    rig = {"body": body.slug, "conversion": "long-pass", "cut_on_nm": 720}
    with separate_connections(tmp_path):
        answers = at_once([lambda c=c: c.post("/api/v1/reports/", claim, headers=KEY) for c in clients])
        assert {answer.status_code for answer in answers} == {201}, [answer.content for answer in answers]
        assert len({json.dumps(answer.json(), sort_keys=True) for answer in answers}) == 1
        answers = at_once([lambda c=c: c.post("/api/v1/rigs/", rig) for c in clients])
        assert {answer.status_code for answer in answers} == {201}, [answer.content for answer in answers]
        counts = at_once([lambda: (Report.objects.count(), Rig.objects.count())])
    assert counts == [(1, 1)]
