"""The desk over the API: what waits, how old, who is at it; and the figures over time."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from registry.gear.models import GearStatus
from registry.moderation.models import DayFigures
from registry.reports.models import ReportState
from tests.api.conftest import with_token
from tests.api.parallel import at_once, separate_connections
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
DESK = "/api/v1/desk/"


def moderating(name):
    return with_token(AccountFactory(moderator=True, name=name), "read", "submit", "moderate")


@pytest.fixture
def waiting():
    return [
        ReportFactory(
            state=ReportState.WAITING, submitted_at=timezone.now() - timedelta(days=number), grades={8: 0}
        )
        for number in range(7)
    ]


def test_the_desk_tells_what_waits_and_the_oldest_of_it(as_moderator, waiting):
    desk = as_moderator.get(DESK).json()
    (pile,) = [pile for pile in desk["piles"] if pile["kind"] == "waiting"]
    assert (pile["count"], len(pile["things"])) == (7, 5)
    assert pile["oldest"] == pile["things"][0]["since"]
    assert pile["things"][0]["key"] == waiting[-1].public_id
    assert desk["now"] == {"open_conflicts": 0, "median_days": None, "well_founded": None}


def test_it_is_for_moderators(as_contributor, anyone):
    for address in (DESK, f"{DESK}waiting/", f"{DESK}figures/"):
        assert (as_contributor.get(address).status_code, anyone.get(address).status_code) == (403, 401)


def test_all_of_one_kind_is_listed_page_by_page(as_moderator, waiting):
    seen, address = [], f"{DESK}waiting/?limit=3"
    while address:
        page = as_moderator.get(address).json()
        seen += [thing["key"] for thing in page["items"]]
        address = page["next"]
    assert seen == [report.public_id for report in reversed(waiting)]
    assert as_moderator.get(f"{DESK}weather/").json()["type"] == "/problems/unknown-kind"


def test_a_page_begins_where_it_should_though_things_were_seen_to_meanwhile(as_moderator, waiting):
    first = as_moderator.get(f"{DESK}waiting/", {"limit": 3}).json()
    for thing in first["items"]:
        as_moderator.post(f"/api/v1/waiting-reports/{thing['key']}/confirm/")
    second = as_moderator.get(first["next"]).json()
    assert [thing["key"] for thing in second["items"]] == [
        report.public_id for report in (waiting[3], waiting[2], waiting[1])
    ]
    as_moderator.post(f"/api/v1/waiting-reports/{waiting[0].public_id}/confirm/")
    # The row that the next page was to begin at is gone: rather twice than never.
    third = as_moderator.get(second["next"]).json()
    assert {thing["key"] for thing in third["items"]} == {
        report.public_id for report in (waiting[3], waiting[2], waiting[1])
    }


@pytest.mark.parametrize("cursor", ["x", "WzFd", "bnVsbA==", "é"])
def test_a_cursor_made_up_by_hand_is_refused(as_moderator, waiting, cursor):
    answer = as_moderator.get(f"{DESK}waiting/", {"cursor": cursor})
    assert (answer.status_code, answer.json()["type"]) == (422, "/problems/cursor-unknown")


def test_what_one_takes_on_the_others_see_until_it_is_handed_back(waiting):
    avocet, curlew = moderating("Avocet"), moderating("Curlew")
    address = f"{DESK}waiting/{waiting[0].public_id}/"
    taken = avocet.post(f"{address}take-on/")
    assert (taken.status_code, taken.json()["handled"]["by"]) == (200, "Avocet")
    refused = curlew.post(f"{address}take-on/")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/already-handled")
    assert curlew.post(f"{address}hand-back/").json()["handled"]["by"] == "Avocet"
    assert avocet.post(f"{address}hand-back/").json()["handled"] is None
    assert curlew.post(f"{address}take-on/").json()["handled"]["by"] == "Curlew"


def test_a_proposed_lens_is_taken_on_by_the_key_that_the_desk_tells(as_moderator):
    LensFactory(status=GearStatus.PROPOSED)
    (thing,) = as_moderator.get(f"{DESK}proposal/").json()["items"]
    assert as_moderator.post(f"{DESK}proposal/{thing['key']}/take-on/").status_code == 200


def test_what_does_not_wait_is_not_taken_on(as_moderator, waiting):
    answer = as_moderator.post(f"{DESK}waiting/nosuchone0/take-on/")
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/no-such-thing")


def test_the_figures_are_told_day_by_day(as_moderator):
    for day in (1, 2, 3):
        DayFigures.objects.create(day=date(2024, 6, day), open_conflicts=day, reliability=0.8)
    days = as_moderator.get(f"{DESK}figures/", {"limit": 2}).json()
    assert [row["day"] for row in days["items"]] == ["2024-06-03", "2024-06-02"]
    (last,) = as_moderator.get(days["next"]).json()["items"]
    assert last == {
        "day": "2024-06-01",
        "open_conflicts": 1,
        "median_days": None,
        "well_founded": None,
        "reliability": 0.8,
    }


@pytest.mark.django_db(transaction=True)
def test_of_four_who_take_one_thing_on_at_once_one_has_it(tmp_path):
    reports = [
        ReportFactory(state=ReportState.WAITING, submitted_at=timezone.now(), grades={8: 0}) for _ in range(4)
    ]
    clients = [moderating(name) for name in ("Avocet", "Curlew", "Dunlin", "Knot")]
    with separate_connections(tmp_path):
        for report in reports:
            address = f"{DESK}waiting/{report.public_id}/take-on/"
            answers = at_once([lambda c=c, a=address: c.post(a).status_code for c in clients])
            assert sorted(answers) == [200, 409, 409, 409]
