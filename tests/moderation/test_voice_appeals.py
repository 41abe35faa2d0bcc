"""Whoever is counted as one voice with others can have it looked at again, by someone who did not decide it."""

import pytest

from registry.accounts.models import SharedVoice
from registry.errors import Conflict, NotAllowed
from registry.ledger.services import verify
from registry.moderation.models import Appeal
from registry.moderation.queries.care import restrictions_of
from registry.moderation.queries.decisions import decision_by_id, status_of
from registry.moderation.queries.start import piles
from registry.moderation.services import answer_proposal
from registry.moderation.services.appeals import answer_appeal, appeal
from registry.moderation.services.voices import decide_voices
from registry.standings.models import Standing
from registry.standings.services import refresh_lens
from registry.watching.models import Notice, Why
from registry.watching.queries import notices_of, notices_told
from tests.factories import AccountFactory
from tests.moderation.test_deciding import said
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def without_second_factors(settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = False


@pytest.fixture
def pair(lens):
    accounts = [AccountFactory(name=name) for name in ("Knot", "Dunlin")]
    for account in [*accounts, *(AccountFactory() for _ in range(6))]:
        report_on(lens, author=account)
    refresh_lens(lens)
    return accounts


@pytest.fixture
def decided(moderator, pair):
    return decide_voices(by=moderator, act="same-voice", accounts=pair, reason="One hand.")


@pytest.fixture
def voice(decided):
    return SharedVoice.objects.get()


def test_granted_the_decision_is_taken_back_and_they_count_as_before(second, lens, pair, decided, voice):
    before = said(lens)
    asked = appeal(by=pair[0], says="We are sisters.", voice=voice)
    assert {pile.kind: pile.count for pile in piles()}["appeal"] == 1
    answer_appeal(appeal=asked, by=second, grant=True, answer="Two people: they were seen together.")
    assert status_of(decision_by_id(decided.public_id)).code == "taken-back"
    refresh_lens(lens)
    assert Standing.objects.get(lens=lens).n_independent == 8 and said(lens) == before
    assert restrictions_of(pair[0]) == [] and verify() == []


def test_not_granted_they_go_on_as_one_and_are_told_why(second, pair, decided, voice, drain):
    asked = appeal(by=pair[0], says="We are sisters.", voice=voice)
    answer_appeal(appeal=asked, by=second, grant=False, answer="The frames are the same.")
    assert status_of(decision_by_id(decided.public_id)).code == "in-force"
    drain()
    told = notices_told(notices_of(pair[0]))[0]
    assert (told.title, told.reason) == ("Your appeal was answered", "The frames are the same.")
    assert told.appeals and told.notice.why == Why.ACCOUNT
    assert not Notice.objects.filter(account=pair[1], event__name="appeal.answered").exists()


def test_neither_who_decided_nor_who_agreed_answers(moderator, second, lens):
    accounts = [AccountFactory() for _ in range(3)]
    for account in accounts:
        report_on(lens, author=account)
    refresh_lens(lens)
    proposed = decide_voices(by=moderator, act="same-voice", accounts=accounts, reason="One hand.")
    answer_proposal(decision=proposed, by=second, agree=True, reason="So it looks.")
    asked = appeal(by=accounts[2], says="Three people.", voice=SharedVoice.objects.get())
    for by in (moderator, second):
        with pytest.raises(NotAllowed):
            answer_appeal(appeal=asked, by=by, grant=False, answer="No.")
    third = AccountFactory(moderator=True)
    answer_appeal(appeal=asked, by=third, grant=True, answer="Three people.")
    assert SharedVoice.objects.get().ended_at


def test_each_of_them_may_ask_once_at_a_time_and_nobody_else(pair, voice, second):
    asked = appeal(by=pair[0], says="We are sisters.", voice=voice)
    appeal(by=pair[1], says="I am her sister.", voice=voice)
    with pytest.raises(Conflict):
        appeal(by=pair[0], says="Again.", voice=voice)
    with pytest.raises(NotAllowed):
        appeal(by=AccountFactory(), says="I know both.", voice=voice)
    answer_appeal(appeal=asked, by=second, grant=True, answer="Two people.")
    with pytest.raises(Conflict):  # it is over
        appeal(by=pair[0], says="Still.", voice=voice)
    other = Appeal.objects.get(granted=None)
    answer_appeal(appeal=other, by=second, grant=True, answer="As for your sister.")


class TestPages:
    def test_one_sees_with_whom_why_and_appeals_and_a_moderator_answers(
        self, client, pair, decided, voice, second
    ):
        client.force_login(pair[0])
        page = client.get("/account/appeals/").content.decode()
        assert "Your tests and those of Dunlin count as one person’s" in page and "One hand." in page
        empty = client.post("/account/appeals/", {"about": f"voice:{voice.pk}", "says": ""})
        assert empty.status_code == 422
        client.post("/account/appeals/", {"about": f"voice:{voice.pk}", "says": "We are sisters."})
        asked = Appeal.objects.get()
        client.force_login(second)
        listed = client.get("/review/appeals/").content.decode()
        assert f"/review/decisions/{decided.public_id}/" in listed and "We are sisters." in listed
        client.post(f"/review/appeals/{asked.pk}/", {"act": "grant", "reason": "Two people."})
        client.force_login(pair[0])
        page = client.get("/account/appeals/").content.decode()
        assert "Earlier appeals" in page and "Two people." in page
