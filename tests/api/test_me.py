"""One's own account and tokens."""

import pytest
from rest_framework.test import APIClient

from registry.accounts.models import TokenGrant
from tests.api.conftest import with_token
from tests.factories import AccountFactory

pytestmark = pytest.mark.django_db


def test_an_account_is_shown_without_its_address(as_contributor, contributor):
    shown = as_contributor.get("/api/v1/me/")
    assert (shown.json()["name"], shown.json()["scopes"]) == (contributor.name, ["read", "submit"])
    assert contributor.email.encode() not in shown.content


def test_a_token_is_told_once_works_and_is_revoked(as_contributor):
    made = as_contributor.post("/api/v1/me/tokens/", {"name": "folder tool", "scopes": ["read"], "days": 30})
    assert made.status_code == 201, made.content
    assert made.json()["expires_at"]
    secret = made.json()["token"]
    assert secret.encode() not in as_contributor.get("/api/v1/me/tokens/").content
    other = APIClient()
    other.credentials(HTTP_AUTHORIZATION=f"Token {secret}")
    assert other.get("/api/v1/me/").json()["scopes"] == ["read"]
    assert TokenGrant.objects.get(name="folder tool").last_used_at
    assert as_contributor.delete(made["Location"]).status_code == 428
    seen = as_contributor.get(made["Location"])
    assert secret.encode() not in seen.content
    assert as_contributor.delete(made["Location"], headers={"If-Match": seen["ETag"]}).status_code == 204
    assert other.get("/api/v1/me/").status_code == 401


def test_repeating_the_making_of_a_token_does_not_tell_it_again(as_contributor):
    sent, key = {"name": "x", "scopes": ["read"]}, {"Idempotency-Key": "k"}
    first = as_contributor.post("/api/v1/me/tokens/", sent, headers=key)
    again = as_contributor.post("/api/v1/me/tokens/", sent, headers=key)
    assert again.json() == first.json() | {"token": None}


def test_a_token_makes_no_token_mightier_than_itself():
    narrow = with_token(AccountFactory(moderator=True), "read", "submit")
    answer = narrow.post("/api/v1/me/tokens/", {"name": "x", "scopes": ["moderate"]})
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/scope-beyond-own")


def test_a_contributor_cannot_have_a_moderating_token(contributor):
    session = APIClient()
    session.force_login(contributor)
    assert session.post("/api/v1/me/tokens/", {"name": "x", "scopes": ["moderate"]}).status_code == 403


def test_others_tokens_cannot_be_revoked(as_contributor):
    with_token(AccountFactory(), "read")
    theirs = TokenGrant.objects.order_by("pk").last()
    assert as_contributor.delete(f"/api/v1/me/tokens/{theirs.pk}/").status_code == 404


def test_unknown_fields_are_refused_with_the_nearest(as_contributor):
    answer = as_contributor.post("/api/v1/me/tokens/", {"nam": "x", "scopes": ["read"]})
    entries = {entry["pointer"]: entry for entry in answer.json()["errors"]}
    assert entries["#/nam"]["remedy"] == "Did you mean “name”?"
    assert entries["#/name"]["type"] == "/problems/required"
