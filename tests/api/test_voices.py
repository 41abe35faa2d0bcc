"""Accounts that look like one, and reports told twice, over the API: shown to moderators, decided in the open."""

import pytest

from registry.ledger.worker import drain_tasks
from registry.moderation.models import Ground, VoiceSign
from registry.reports.models import ReportState
from registry.standings.models import Standing
from registry.standings.services import refresh_lens
from tests.api.conftest import with_token
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import CopyFactory
from tests.standings.evidence import relay_on, report_on

pytestmark = pytest.mark.django_db
VOICES, JOINING, COPIES = "/api/v1/voices/", "/api/v1/worth-joining/", "/api/v1/same-copies/"


@pytest.fixture
def lens():
    return LensFactory(widest_f=2)


@pytest.fixture
def pair(lens):
    """Two who registered minutes apart and tested one lens."""
    accounts = [AccountFactory(name=name) for name in ("Knot", "Dunlin")]
    for account in accounts:
        report_on(lens, author=account)
    for _ in range(3):
        report_on(lens)
    VoiceSign.objects.create(
        first=accounts[0], second=accounts[1], lens=lens, ground=Ground.TOGETHER, figures={"minutes_apart": 3}
    )
    refresh_lens(lens)
    return accounts


@pytest.fixture
def as_one(pair):
    return {
        "act": "same-voice",
        "accounts": [account.public_id for account in pair],
        "reason": "They said so.",
    }


def voices_on(lens):
    drain_tasks()
    return Standing.objects.get(lens=lens).n_independent


def test_a_moderator_sees_who_looks_like_one_why_and_what_would_change(as_moderator, as_contributor, pair):
    (row,) = as_moderator.get(VOICES).json()["items"]
    assert [account["name"] for account in row["accounts"]] == ["Knot", "Dunlin"]
    assert (row["signs"][0]["ground"], row["signs"][0]["figures"]) == (
        "registered-together",
        {"minutes_apart": 3},
    )
    for account in pair:
        shown = as_moderator.get(f"{VOICES}{account.public_id}/").json()
        assert shown == row | {"expected": shown["expected"]}
    assert as_contributor.get(VOICES).status_code == 403
    assert as_moderator.get(f"{VOICES}nosuchone0/").json()["type"] == "/problems/unknown-voice-finding"


def test_counted_as_one_voice_and_taken_back_the_standing_is_as_it_was(
    anyone, as_moderator, lens, pair, as_one
):
    assert voices_on(lens) == 5
    made = as_moderator.post(VOICES, as_one)
    assert (made.status_code, made.json()["act"], made.json()["lens"]) == (201, "same-voice", None)
    assert set(made.json()["accounts"]) == set(as_one["accounts"])
    assert anyone.get(made["Location"]).json() == made.json()
    assert voices_on(lens) == 4
    assert as_moderator.get(VOICES).json()["items"] == []
    again = as_moderator.post(VOICES, as_one)
    assert (again.status_code, again.json()["type"]) == (409, "/problems/one-voice-already")
    assert as_moderator.post(made["Location"] + "undo/", {"reason": "They are two."}).status_code == 201
    assert voices_on(lens) == 5


def test_people_of_their_own_are_not_asked_about_again(as_moderator, as_one):
    assert as_moderator.post(VOICES, as_one | {"act": "own-voices"}).status_code == 201
    assert as_moderator.get(VOICES).json()["items"] == []


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"act": "ask"}, "#/act"),
        ({"accounts": []}, "#/accounts"),
        ({"accounts": ["nosuchone0"]}, "#/account"),
        ({"reason": ""}, "#/reason"),
    ],
)
def test_what_is_wrong_is_named(as_moderator, as_one, wrong, pointer):
    answer = as_moderator.post(VOICES, as_one | wrong)
    assert answer.status_code in (404, 422)
    assert answer.json()["errors"][0]["pointer"] == pointer


def test_what_waits_of_them_is_let_count_at_once(as_moderator, lens, pair):
    waiting = report_on(lens, author=pair[0], state=ReportState.WAITING)
    (row,) = as_moderator.get(VOICES).json()["items"]
    assert row["waiting"] == [waiting.public_id]
    assert as_moderator.post(f"{VOICES}{pair[1].public_id}/count/").json() == {"confirmed": 1}
    waiting.refresh_from_db()
    assert waiting.state == ReportState.SUBMITTED


def test_reports_told_twice_are_listed_with_the_decision_that_joins_them(as_moderator, lens):
    for tester in ("R. Samphire", "S. Rush"):
        relay_on(lens, tester=tester, url="https://saltmarsh.example/infrared-3")
    refresh_lens(lens)
    one = as_moderator.get(JOINING).json()["items"][0]
    assert (one["act"], len(one["reports"]), one["lens"]) == ("same-source", 2, lens.slug)
    sent = {"act": one["act"], "reports": one["reports"], "reason": "One page."}
    assert as_moderator.post("/api/v1/decisions/", sent).json()["status"] == "in-force"
    assert as_moderator.get(JOINING).json()["items"] == []


def test_reports_kept_apart_are_not_raised_again(as_moderator, lens):
    for tester in ("R. Samphire", "S. Rush"):
        relay_on(lens, tester=tester, url="https://saltmarsh.example/infrared-3")
    (one,) = as_moderator.get(JOINING).json()["items"]
    sent = {"act": "keep-apart", "reports": one["reports"], "reason": "Two tests on one page."}
    made = as_moderator.post("/api/v1/decisions/", sent).json()
    assert (made["act"], made["status"]) == ("keep-apart", "in-force")
    assert as_moderator.get(JOINING).json()["items"] == []
    as_moderator.post(f"/api/v1/decisions/{made['id']}/undo/", {"reason": "One after all."})
    assert len(as_moderator.get(JOINING).json()["items"]) == 1


def test_a_decision_about_voices_is_appealed_against_by_those_concerned(as_moderator, as_one, pair):
    made = as_moderator.post(VOICES, as_one).json()
    concerned = with_token(pair[0], "read", "submit")
    asked = concerned.post("/api/v1/appeals/", {"decision": made["id"], "says": "We are sisters."})
    assert (asked.status_code, asked.json()["decision"]) == (201, made["id"])
    stranger = with_token(AccountFactory(), "read", "submit")
    refused = stranger.post("/api/v1/appeals/", {"decision": made["id"], "says": "I know them."})
    assert refused.status_code == 403
    other = with_token(AccountFactory(moderator=True), "read", "moderate")
    granted = other.post(f"{asked['Location']}answer/", {"grant": True, "reason": "Two people."})
    assert (granted.status_code, granted.json()["granted"]) == (200, True)
    assert as_moderator.get(f"/api/v1/decisions/{made['id']}/").json()["status"] == "taken-back"


def test_only_a_decision_that_joined_voices_is_appealed_against_so(as_moderator, as_one, pair):
    made = as_moderator.post(VOICES, as_one | {"act": "own-voices"}).json()
    concerned = with_token(pair[0], "read", "submit")
    answer = concerned.post("/api/v1/appeals/", {"decision": made["id"], "says": "We are sisters."})
    assert (answer.status_code, answer.json()["type"]) == (404, "/problems/unknown-voice")


def test_candidates_are_paged(as_moderator, lens):
    for url in ("https://saltmarsh.example/infrared-3", "https://dunes.example/infrared"):
        for tester in ("R. Samphire", "S. Rush"):
            relay_on(lens, tester=tester, url=url, title=f"Told at {url}")
    seen, address = [], f"{JOINING}?limit=1"
    while address and len(seen) < 10:
        page = as_moderator.get(address).json()
        seen += [one["reports"][0] for one in page["items"]]
        address = page["next"]
    assert len(seen) == len(set(seen)) == 2


def test_one_copy_in_two_hands_is_told(as_moderator, lens):
    copies = [CopyFactory(lens=lens, serial_hash="f" * 64) for _ in range(2)]
    CopyFactory(lens=lens, serial_hash="e" * 64)
    (group,) = as_moderator.get(COPIES).json()["items"]
    assert (group["lens"], {copy["id"] for copy in group["copies"]}) == (
        lens.slug,
        {copy.public_id for copy in copies},
    )
    assert with_token(AccountFactory(), "read").get(COPIES).status_code == 403
