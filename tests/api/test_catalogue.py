"""Reading the catalogue: anyone may, in pages that stay put."""

import pytest

from tests.factories import (
    BodyFactory,
    FilterFactory,
    LensFactory,
    MakerFactory,
    MountFactory,
    TeleconverterFactory,
)

pytestmark = pytest.mark.django_db

RESOURCES = {
    "makers": MakerFactory,
    "mounts": MountFactory,
    "lenses": LensFactory,
    "bodies": BodyFactory,
    "filters": FilterFactory,
    "teleconverters": TeleconverterFactory,
}


@pytest.mark.parametrize("resource", RESOURCES)
def test_anyone_may_list_and_read(anyone, resource):
    item = RESOURCES[resource]()
    listed = anyone.get(f"/api/v1/{resource}/")
    assert listed.status_code == 200
    rows = [row.get("lens", row) for row in listed.json()["items"]]
    assert item.slug in [row["slug"] for row in rows]
    read = anyone.get(f"/api/v1/{resource}/{item.slug}/")
    assert read.status_code == 200
    assert read.json().get("lens", read.json())["slug"] == item.slug


def test_an_unknown_slug_is_a_problem_that_names_it(anyone):
    answer = anyone.get("/api/v1/mounts/heron/")
    assert answer.status_code == 404
    assert answer["Content-Type"] == "application/problem+json"
    assert "heron" in answer.json()["detail"]


def test_filters_are_found_by_name_and_kind(anyone):
    FilterFactory(name="Dusk 720 nm")
    FilterFactory(name="Dawn 590 nm", passes="band-pass", cut_on_nm=590, cut_off_nm=650)
    found = anyone.get("/api/v1/filters/", {"search": "dusk"}).json()["items"]
    assert [row["name"] for row in found] == ["Dusk 720 nm"]
    found = anyone.get("/api/v1/filters/", {"passes": "band-pass"}).json()["items"]
    assert [row["name"] for row in found] == ["Dawn 590 nm"]


def test_following_next_links_shows_each_row_once_while_rows_are_added(anyone):
    for _ in range(5):
        BodyFactory()
    answer = anyone.get("/api/v1/bodies/", {"limit": 2})
    seen = [row["slug"] for row in answer.json()["items"]]
    while following := answer.json()["next"]:
        assert f'<{following}>; rel="next"' in answer["Link"]
        BodyFactory(slug="aaa-before-all-others" + str(len(seen)))
        answer = anyone.get(following)
        seen += [row["slug"] for row in answer.json()["items"]]
    assert len(seen) == len(set(seen)) == 5


def test_a_previous_link_leads_back(anyone):
    for _ in range(3):
        BodyFactory()
    first = anyone.get("/api/v1/bodies/", {"limit": 2}).json()
    second = anyone.get(first["next"]).json()
    assert anyone.get(second["previous"]).json()["items"] == first["items"]


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ({"limit": "0"}, "limit-out-of-range"),
        ({"limit": "many"}, "limit-out-of-range"),
        ({"limit": "201"}, "limit-out-of-range"),
        ({"cursor": "cD1hYmM="}, "cursor-unknown"),
        ({"cursor": "cA"}, "cursor-unknown"),
        ({"makr": "osterby"}, "unknown-parameter"),
    ],
)
def test_odd_queries_are_refused_by_name(anyone, query, code):
    answer = anyone.get("/api/v1/bodies/", query)
    assert answer.status_code == 422
    (entry,) = answer.json()["errors"]
    assert entry["type"] == f"/problems/{code}"
    assert entry["parameter"] == next(iter(query))


def test_a_made_up_position_in_a_cursor_is_refused(anyone):
    import base64

    for told in (
        b'[0,"not-a-number"]',
        b"[0]",
        b"[0,1,2]",
        b"[2,1]",
        b"[0,null]",
        b"{}",
        b"[0,[1]]",
        b"[0,1e999]",
    ):
        cursor = base64.urlsafe_b64encode(told).decode()
        answer = anyone.get("/api/v1/standings/", {"cursor": cursor})
        assert answer.json()["type"] == "/problems/cursor-unknown", told


def test_an_unknown_parameter_is_answered_with_the_nearest_known(anyone):
    (entry,) = anyone.get("/api/v1/bodies/", {"makr": "osterby"}).json()["errors"]
    assert "maker" in entry["remedy"]


def test_a_proposed_body_can_be_read_at_once(as_contributor):
    MakerFactory(name="Osterby")
    MountFactory(name="Teal")
    answer = as_contributor.post("/api/v1/bodies/", {"maker": "Osterby", "name": "Causey 9", "mount": "Teal"})
    assert answer.status_code == 201, answer.content
    assert answer.json()["status"] == "proposed"
    assert as_contributor.get(answer["Location"]).status_code == 200


def test_proposing_names_every_bad_fact(as_contributor):
    answer = as_contributor.post(
        "/api/v1/lenses/", {"maker": "Osterbee", "name": "35", "focal_min_mm": -1, "by": 1}
    )
    assert answer.status_code == 422
    answer = as_contributor.post("/api/v1/lenses/", {"maker": "Osterbee", "name": "35", "focal_min_mm": -1})
    assert {entry["pointer"] for entry in answer.json()["errors"]} >= {"#/maker", "#/focal_min_mm"}
