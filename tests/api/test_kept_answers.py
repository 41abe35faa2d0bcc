"""Answers that are the same for everyone are made once, follow what they tell of, and are not sent twice."""

import pytest

from registry.ledger.worker import drain_tasks
from registry.reports import services
from tests.api.conftest import with_token
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(slug="osterby-marram-35")


def report_on(lens):
    report = ReportFactory(lens=lens, grades={4: 0, 5.6: 0, 8: 0, 11: 3})
    services.submit_report(report=report, by=report.author)
    drain_tasks()


ADDRESSES = ["/api/v1/lenses/osterby-marram-35/", "/api/v1/lenses/?search=marram"]


@pytest.mark.parametrize("address", ADDRESSES)
def test_an_answer_made_before_costs_one_statement(anyone, lens, address, django_assert_max_num_queries):
    report_on(lens)
    first = anyone.get(address)
    with django_assert_max_num_queries(1):
        again = anyone.get(address)
    assert again.content == first.content and again["Content-Type"] == first["Content-Type"]
    assert b"clean to f/8" in again.content


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_new_report_changes_the_answer_and_its_tag(anyone, lens, address):
    report_on(lens)
    before = anyone.get(address)
    assert anyone.get(address, HTTP_IF_NONE_MATCH=before["ETag"]).status_code == 304
    report_on(lens)
    after = anyone.get(address, HTTP_IF_NONE_MATCH=before["ETag"])
    assert after.status_code == 200 and after["ETag"] != before["ETag"]


def test_a_wrong_question_is_refused_each_time(anyone, lens):
    for _ in range(2):
        assert anyone.get(ADDRESSES[0], {"cut_on_nm": "7"}).status_code == 422


def test_an_unknown_lens_is_not_found_each_time(anyone):
    for _ in range(2):
        assert anyone.get("/api/v1/lenses/no-such-lens/").status_code == 404


def test_kept_answers_count_against_the_limit_and_asking_for_changes_does_not(anyone, lens, settings):
    report_on(lens)
    settings.API_LIMITS = settings.API_LIMITS | {"read": 3}
    tag = anyone.get(ADDRESSES[0])["ETag"]
    for _ in range(5):
        assert anyone.get(ADDRESSES[0], HTTP_IF_NONE_MATCH=tag).status_code == 304
    assert [anyone.get(ADDRESSES[0]).status_code for _ in range(3)] == [200, 200, 429]


def test_a_token_that_is_not_known_is_refused_even_where_an_answer_is_kept(anyone, lens):
    report_on(lens)
    anyone.get(ADDRESSES[0])
    anyone.credentials(HTTP_AUTHORIZATION="Token made-up")
    assert anyone.get(ADDRESSES[0]).status_code == 401


def test_programs_with_a_token_get_the_same_answer(anyone, lens):
    report_on(lens)
    with_account = with_token(AccountFactory(), "read")
    assert with_account.get(ADDRESSES[0]).json() == anyone.get(ADDRESSES[0]).json()


def test_a_kept_answer_tells_what_is_left_and_asking_for_changes_tells_nothing(anyone, lens, settings):
    report_on(lens)
    settings.API_LIMITS = settings.API_LIMITS | {"read": 3}
    first, kept = anyone.get(ADDRESSES[0]), anyone.get(ADDRESSES[0])
    assert [answer["RateLimit-Remaining"] for answer in (first, kept)] == ["2", "1"]
    assert "RateLimit-Remaining" not in anyone.get(ADDRESSES[0], HTTP_IF_NONE_MATCH=kept["ETag"])
