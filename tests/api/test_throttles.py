"""How often one account or address may ask, and what others are told."""

import pytest

from registry.accounts.addresses import address_of
from tests.api.conftest import with_token
from tests.api.parallel import at_once, separate_connections
from tests.factories import AccountFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _one_window(monkeypatch):
    monkeypatch.setattr("api.throttles.time.time", lambda: 1_700_000_050.0)


def test_reads_are_limited_by_address_and_told_when_to_come_back(anyone, settings):
    settings.API_LIMITS = {"read": 2, "submit": 2}
    assert [anyone.get("/api/v1/makers/").status_code for _ in range(3)] == [200, 200, 429]
    refused = anyone.get("/api/v1/makers/")
    assert refused.json()["type"] == "/problems/too-many-requests"
    assert refused["Retry-After"] == "50"
    assert anyone.get("/api/v1/makers/", REMOTE_ADDR="192.0.2.9").status_code == 200


def test_a_new_window_begins_anew(anyone, settings, monkeypatch):
    settings.API_LIMITS = {"read": 1, "submit": 1}
    anyone.get("/api/v1/makers/")
    assert anyone.get("/api/v1/makers/").status_code == 429
    monkeypatch.setattr("api.throttles.time.time", lambda: 1_700_000_110.0)
    assert anyone.get("/api/v1/makers/").status_code == 200


def test_writes_are_limited_by_account(settings):
    settings.API_LIMITS = {"read": 9, "submit": 2}
    one, other = (with_token(AccountFactory(), "read", "submit") for _ in range(2))
    assert [one.post("/api/v1/rigs/", {}).status_code for _ in range(3)] == [422, 422, 429]
    assert other.post("/api/v1/rigs/", {}).status_code == 422


def test_each_scope_has_its_own_limit(settings):
    settings.API_LIMITS = {"read": 1, "submit": 2, "moderate": 3}
    client = with_token(AccountFactory(moderator=True), "read", "submit", "moderate")
    for act, allowed in (
        (lambda: client.get("/api/v1/makers/"), 1),
        (lambda: client.post("/api/v1/rigs/", {}), 2),
        (lambda: client.post("/api/v1/decisions/", {}), 3),
    ):
        answers = [act() for _ in range(allowed + 1)]
        assert [answer.headers["RateLimit-Limit"] for answer in answers] == [str(allowed)] * (allowed + 1)
        assert [answer.status_code == 429 for answer in answers] == [False] * allowed + [True]
        assert answers[-1].headers["Retry-After"] == "50"


@pytest.mark.parametrize(
    ("proxies", "forwarded", "address"),
    [
        (0, "198.51.100.7", "192.0.2.1"),
        (1, "198.51.100.7", "198.51.100.7"),
        (1, "203.0.113.5, 198.51.100.7", "198.51.100.7"),
        (2, "203.0.113.5, 198.51.100.7, 10.0.0.1", "198.51.100.7"),
        (2, "198.51.100.7", "192.0.2.1"),
    ],
)
def test_a_forged_forwarding_header_changes_nothing(rf, settings, proxies, forwarded, address):
    settings.TRUSTED_PROXIES = proxies
    request = rf.get("/", REMOTE_ADDR="192.0.2.1", HTTP_X_FORWARDED_FOR=forwarded)
    assert address_of(request.META) == address


@pytest.mark.django_db(transaction=True)
def test_twelve_writes_at_once_do_not_slip_past_the_limit(tmp_path, settings):
    settings.API_LIMITS = {"read": 9, "submit": 5}
    account = AccountFactory()
    clients = [with_token(account, "read", "submit") for _ in range(12)]
    with separate_connections(tmp_path):
        answers = at_once([lambda c=c: c.post("/api/v1/rigs/", {}) for c in clients])
    assert sorted(answer.status_code for answer in answers) == [422] * 5 + [429] * 7
