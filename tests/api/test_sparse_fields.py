"""Asking for some members of an answer only, and being told how much of one's limit is left."""

import pytest

from tests.factories import LensFactory

pytestmark = pytest.mark.django_db


def test_a_list_holds_the_wanted_members_only(anyone):
    LensFactory.create_batch(3)
    page = anyone.get("/api/v1/lenses/?fields=sentence,verdict&limit=2").json()
    assert [set(row) for row in page["items"]] == [{"sentence", "verdict"}] * 2
    assert "fields=sentence" in page["next"]


def test_one_thing_holds_them_too_and_is_not_sent_twice(anyone):
    lens = LensFactory()
    first = anyone.get(f"/api/v1/lenses/{lens.slug}/?fields=answer")
    assert set(first.json()) == {"answer"}
    again = anyone.get(f"/api/v1/lenses/{lens.slug}/?fields=answer", headers={"If-None-Match": first["ETag"]})
    assert again.status_code == 304


def test_an_unknown_member_is_refused_with_the_nearest(anyone):
    LensFactory()
    refused = anyone.get("/api/v1/lenses/?fields=sentense")
    assert refused.status_code == 422
    (error,) = refused.json()["errors"]
    assert (error["parameter"], error["remedy"]) == ("fields", "Did you mean “sentence”?")


def test_answers_tell_what_is_left_of_the_limit(as_contributor, settings):
    settings.API_LIMITS = {"read": 3, "submit": 3}
    left = [as_contributor.get("/api/v1/rigs/") for _ in range(4)]
    assert [answer["RateLimit-Remaining"] for answer in left] == ["2", "1", "0", "0"]
    assert {answer["RateLimit-Limit"] for answer in left} == {"3"}
    assert left[-1].status_code == 429
    assert left[-1]["Retry-After"] == left[-1]["RateLimit-Reset"]
