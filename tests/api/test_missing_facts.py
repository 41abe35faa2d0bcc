"""Programs list what the catalogue lacks and complete it with a source."""

import pytest

from registry.gear.models import FactSource
from tests.factories import LensFactory

pytestmark = pytest.mark.django_db


def test_what_a_lens_lacks_is_listed(anyone):
    LensFactory(filter_thread_mm=52, narrowest_f=16, mass_g=300)
    lens = LensFactory(filter_thread_mm=None, narrowest_f=16, mass_g=None)
    (row,) = anyone.get("/api/v1/missing-facts/").json()["items"]
    assert row["lens"] == lens.slug
    assert row["lacks"][0] == "filter_thread_mm" and "mass_g" in row["lacks"]


def test_pages_of_the_list_show_each_lens_once(anyone):
    slugs = {LensFactory(mass_g=None).slug for _ in range(5)}
    answer = anyone.get("/api/v1/missing-facts/", {"limit": 2})
    seen = [row["lens"] for row in answer.json()["items"]]
    while following := answer.json()["next"]:
        answer = anyone.get(following)
        seen += [row["lens"] for row in answer.json()["items"]]
    assert sorted(seen) == sorted(slugs)


def test_facts_are_completed_with_their_source(as_contributor):
    lens = LensFactory(filter_thread_mm=None, mass_g=None)
    sent = {"lens": lens.slug, "filter_thread_mm": 67, "mass_g": 410, "source": "read off the lens"}
    answer = as_contributor.post("/api/v1/missing-facts/", sent)
    assert answer.status_code == 201, answer.json()
    assert (answer.json()["filter_thread_mm"], answer.json()["mass_g"]) == (67, 410)
    assert FactSource.objects.filter(gear_slug=lens.slug, source="read off the lens").count() == 2


def test_what_is_stated_otherwise_is_a_conflict_and_nothing_is_taken(as_contributor):
    lens = LensFactory(filter_thread_mm=62, mass_g=None)
    sent = {"lens": lens.slug, "filter_thread_mm": 67, "mass_g": 410, "source": "read off the lens"}
    answer = as_contributor.post("/api/v1/missing-facts/", sent)
    assert answer.status_code == 409
    lens.refresh_from_db()
    assert lens.mass_g is None


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({"mass_g": 410}, "/source"),
        ({"source": "scales", "mass_g": -1}, "/mass_g"),
        ({"source": "scales", "weight": 410}, "/weight"),
    ],
)
def test_what_cannot_be_taken_is_refused_by_pointer(as_contributor, sent, pointer):
    answer = as_contributor.post("/api/v1/missing-facts/", {"lens": LensFactory(mass_g=None).slug, **sent})
    assert answer.status_code == 422
    assert pointer in str(answer.json())


def test_no_fact_at_all_is_refused(as_contributor):
    answer = as_contributor.post("/api/v1/missing-facts/", {"lens": LensFactory().slug, "source": "scales"})
    assert answer.status_code == 422


def test_reading_needs_no_account_and_completing_does(anyone):
    assert anyone.post("/api/v1/missing-facts/", {}).status_code == 401
