"""The desk's pages on accounts that look like one, and on what counts as one, as they are used in a browser."""

import pytest

from registry.moderation.models import Decision
from registry.moderation.queries.joining import worth_joining
from registry.reports.models import Bond
from tests.factories import AccountFactory, LensFactory
from tests.moderation.test_contests import measured_report
from tests.moderation.test_voices import joined, tested
from tests.pages.test_desk import text_of
from tests.report_factories import CopyFactory
from tests.standings.evidence import relay_on, report_on

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def without_second_factors(settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = False


@pytest.fixture
def lens():
    return LensFactory(widest_f=2)


@pytest.fixture
def moderator(client):
    account = AccountFactory(moderator=True)
    client.force_login(account)
    return account


@pytest.fixture
def pair(lens):
    accounts = joined(40, name="Dunlin"), joined(10, name="Knot")
    tested(lens, *accounts)
    return accounts


@pytest.mark.parametrize("address", ["/review/voices/", "/review/joined/"])
def test_only_moderators_see_them(client, address):
    assert client.get(address).status_code == 302
    client.force_login(AccountFactory())
    assert client.get(address).status_code == 403


def test_a_finding_is_on_the_desk_with_its_grounds_and_figures(client, moderator, pair, lens):
    assert "Dunlin and Knot registered at about the same time" in text_of(client.get("/desk/"))
    assert "Registered at about the same time" in text_of(client.get("/review/voices/"))
    shown = text_of(client.get(f"/review/voices/{pair[1].public_id}/"))
    assert "registered 30 minutes apart; 7 of 7 stops read alike" in shown
    assert "Dunlin, Knot: one person, or several?" in shown


def test_deciding_there_makes_a_public_decision_that_names_them(client, moderator, pair):
    sent = {"act": "own-voices", "accounts": [one.public_id for one in pair], "reason": "A club evening."}
    answer = client.post(f"/review/voices/{pair[0].public_id}/", sent)
    decision = Decision.objects.get()
    assert answer.url == f"/review/decisions/{decision.public_id}/"
    client.logout()
    shown = text_of(client.get(answer.url))
    assert "Kept as voices of their own" in shown and "Dunlin, Knot" in shown
    assert client.get("/review/decisions/").status_code == 200


def test_without_a_reason_the_form_says_so_and_keeps_what_was_chosen(client, moderator, pair):
    sent = {"act": "same-voice", "accounts": [one.public_id for one in pair], "reason": ""}
    answer = client.post(f"/review/voices/{pair[0].public_id}/", sent)
    assert answer.status_code == 422 and "The reason is missing." in text_of(answer)
    assert answer.context["form"]["act"].value() == "same-voice"
    assert not Decision.objects.exists()


def test_an_account_that_resembles_nobody_has_no_such_page(client, moderator):
    assert client.get(f"/review/voices/{AccountFactory().public_id}/").status_code == 404


class TestJoining:
    def test_copies_of_two_holders_under_one_label(self, lens):
        for label in ("the club’s", "The club’s", "my copy", "my copy"):
            report_on(lens, copy=CopyFactory(lens=lens, label=label))
        (found,) = worth_joining()
        assert (found.act, len(found.reports)) == ("same-copy", 2)

    def test_serial_numbers_that_differ_tell_two_copies_apart(self, lens):
        for serial in ("a", "b"):
            report_on(lens, copy=CopyFactory(lens=lens, label="the club’s", serial_hash=serial))
        assert worth_joining() == []

    def test_one_page_with_several_testers_and_one_title_at_two_addresses(self, lens):
        for tester, url in (
            ("Ruff", "https://saltmarsh.example/a"),
            ("Reeve", "https://saltmarsh.example/a"),
        ):
            relay_on(lens, tester=tester, url=url, title=f"By {tester}")
        for tester, url in (
            ("Stint", "https://saltmarsh.example/b"),
            ("Whimbrel", "https://dunes.example/b"),
        ):
            relay_on(lens, tester=tester, url=url, title="Hotspots of the coast")
        assert [one.why for one in worth_joining()] == [
            "One page, told of as several people’s tests",
            "One title under several addresses",
        ]

    def test_measured_alike_to_the_last_digit(self, lens):
        measured_report(lens, 8), measured_report(lens, 8), measured_report(lens, 4)
        (found,) = worth_joining()
        assert (found.act, len(found.reports)) == ("same-frames", 2)

    def test_joining_one_takes_it_off_the_list_and_lists_the_decision(self, client, moderator, lens):
        reports = [report_on(lens, copy=CopyFactory(lens=lens, label="the club’s")) for _ in range(2)]
        (found,) = worth_joining()
        refused = client.post("/review/joined/", {"candidate": found.key, "reason": ""})
        assert refused.status_code == 422 and "The reason is missing." in text_of(refused)
        client.post("/review/joined/", {"candidate": found.key, "reason": "One lens went round."})
        assert set(Bond.objects.get().reports.all()) == set(reports)
        shown = text_of(client.get("/review/joined/"))
        assert "One lens went round." in shown and "Nothing looks as if it were told twice." in shown
        again = client.post("/review/joined/", {"candidate": found.key, "reason": "Again."})
        assert again.status_code == 409

    def test_copies_of_one_serial_number_are_listed_as_known(self, client, moderator, lens):
        for _ in range(2):
            report_on(lens, copy=CopyFactory(lens=lens, serial_hash="abc"))
        assert "one serial number, or one holder’s word" in text_of(client.get("/review/joined/"))

    def test_keeping_a_pair_apart_takes_it_off_the_list_and_it_can_be_read_there(
        self, client, moderator, lens
    ):
        for _ in range(2):
            report_on(lens, copy=CopyFactory(lens=lens, label="the club’s"))
        (found,) = worth_joining()
        sent = {"candidate": found.key, "reason": "Two copies of one name.", "act": "keep-apart"}
        answer = client.post("/review/joined/", sent, follow=True)
        assert "Kept as evidence of their own" in text_of(answer) and not Bond.objects.exists()
        shown = text_of(client.get("/review/joined/"))
        assert "Kept apart by decision" in shown and "Nothing looks as if it were told twice." in shown
