"""Watches, notices and picks through the API."""

import pytest

from registry.picks.rules import PickGiven
from registry.picks.services import publish_list, withdraw_list
from registry.reports.services import submit_report
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory
from tests.standings.evidence import clean_up_to

pytestmark = pytest.mark.django_db
WATCHES, NOTICES, LISTS = "/api/v1/me/watches/", "/api/v1/me/notices/", "/api/v1/pick-lists/"


@pytest.fixture
def lens():
    return LensFactory(widest_f=2, slug="osterby-marram-followed")


def test_a_lens_is_watched_once_and_no_longer(as_contributor, lens):
    for _ in range(2):
        assert as_contributor.post(WATCHES, {"lens": lens.slug}).status_code == 201
    assert [row["lens"] for row in as_contributor.get(WATCHES).json()["items"]] == [lens.slug]
    seen = as_contributor.get(f"{WATCHES}{lens.slug}/")
    assert seen.json()["lens"] == lens.slug
    assert as_contributor.delete(f"{WATCHES}{lens.slug}/").status_code == 428
    ended = as_contributor.delete(f"{WATCHES}{lens.slug}/", headers={"If-Match": seen["ETag"]})
    assert ended.status_code == 204
    assert as_contributor.get(WATCHES).json()["items"] == []
    assert as_contributor.get(f"{WATCHES}{lens.slug}/").status_code == 404


def test_what_others_watch_is_their_own_affair(anyone, as_contributor, lens):
    assert anyone.get(WATCHES).status_code == 401
    assert anyone.get(NOTICES).status_code == 401


def test_a_changed_verdict_is_told_and_marked_read(as_contributor, lens, drain):
    as_contributor.post(WATCHES, {"lens": lens.slug})
    report = ReportFactory(lens=lens, grades=clean_up_to(8))
    submit_report(report=report, by=report.author)
    drain()
    (notice,) = as_contributor.get(NOTICES).json()["items"]
    assert (notice["lens"], notice["why"], notice["read_at"]) == (lens.slug, "watched", None)
    assert "clean to f/8" in notice["title"]
    assert as_contributor.post(f"{NOTICES}read/", {"notice": notice["id"]}).json() == {"marked": 1}
    assert as_contributor.post(f"{NOTICES}read/").json() == {"marked": 0}


def test_picks_are_read_by_anyone_until_they_are_withdrawn(anyone, lens):
    author = AccountFactory(name="knot")
    made = publish_list(
        author=author, title="Dunes", about="", picks=[PickGiven(lens, "Clean, small, and mine.")]
    )
    (row,) = anyone.get(LISTS, {"lens": lens.slug}).json()["items"]
    assert (row["author"], row["picks"][0]["lens"]) == ("knot", lens.slug)
    withdraw_list(pick_list=made, by=author)
    assert anyone.get(LISTS).json()["items"] == []
    assert anyone.get(f"{LISTS}{made.public_id}/").status_code == 404
