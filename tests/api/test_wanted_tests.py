"""Wanted tests through the API: ranked, narrowed, reserved and given back."""

import pytest

from registry.standings.services import refresh_lens
from registry.wanted.models import WantedTest
from registry.wanted.services import rank_wanted_tests, reserve_test
from tests.api.conftest import with_token
from tests.factories import AccountFactory, LensFactory, MountFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db
LIST = "/api/v1/wanted-tests/"


@pytest.fixture
def lens():
    lens = LensFactory(widest_f=2, slug="osterby-marram-wanted")
    rank_wanted_tests()
    return lens


def test_the_most_wanted_stands_first(anyone, lens):
    settled = LensFactory(widest_f=2)
    for _ in range(8):
        report_on(settled)
    refresh_lens(settled)
    rank_wanted_tests()
    rows = anyone.get(LIST, {"cut_on_group": "700-780"}).json()["items"]
    assert [row["lens"] for row in rows] == [lens.slug, settled.slug]
    assert rows[0]["score"] == rows[0]["information"] > rows[1]["information"]
    assert rows[0]["reservation"] is None


def test_a_test_is_reserved_shown_to_others_and_given_back(anyone, as_contributor, contributor, lens):
    number = WantedTest.objects.get(cut_on_group="700-780").pk
    taken = as_contributor.post(f"{LIST}{number}/reserve/")
    assert (taken.status_code, taken.json()["reservation"]["by"]) == (200, contributor.name)
    assert anyone.get(f"{LIST}{number}/").json()["reservation"]["by"] == contributor.name
    assert number not in [row["id"] for row in anyone.get(LIST, {"reserved": "no"}).json()["items"]]
    refused = with_token(AccountFactory(), "read", "submit").post(f"{LIST}{number}/reserve/")
    assert (refused.status_code, refused.json()["type"]) == (409, "/problems/already-reserved")
    assert as_contributor.post(f"{LIST}{number}/release/").json()["reservation"] is None


def test_only_its_holder_gives_a_test_back(as_contributor, lens):
    test = WantedTest.objects.first()
    reserve_test(account=AccountFactory(), test=test)
    assert as_contributor.post(f"{LIST}{test.pk}/release/").status_code == 403


def test_reserving_needs_an_account_that_may_submit(anyone, contributor, lens):
    address = f"{LIST}{WantedTest.objects.first().pk}/reserve/"
    assert anyone.post(address).status_code == 401
    assert with_token(contributor, "read").post(address).status_code == 403


def test_filters_narrow_and_refuse_what_they_do_not_know(anyone, lens):
    MountFactory(name="Plover")
    assert anyone.get(LIST, {"mount": "plover"}).json()["items"] == []
    assert len(anyone.get(LIST, {"mount": "teal"}).json()["items"]) == 4
    for query in ({"mount": "tael"}, {"cut_on_group": "720"}, {"reserved": "maybe"}, {"mout": "teal"}):
        assert anyone.get(LIST, query).status_code == 422, query


@pytest.mark.parametrize("number", ["0", "999999999999999"])
def test_a_wanted_test_that_is_not_there_says_so(anyone, lens, number):
    answer = anyone.get(f"{LIST}{number}/")
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/unknown-wanted-test")


def test_a_page_of_tests_takes_few_statements(anyone, django_assert_max_num_queries):
    for _ in range(12):
        LensFactory()
    rank_wanted_tests()
    with django_assert_max_num_queries(4):
        assert len(anyone.get(LIST).json()["items"]) == 48
