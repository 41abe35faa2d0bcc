"""Who may do what: every address × method × kind of asker, from the addresses themselves."""

import pytest
from django.urls import get_resolver
from rest_framework.test import APIClient

from tests.api.conftest import with_token
from tests.factories import AccountFactory

pytestmark = pytest.mark.django_db

OPEN, OWN, SUBMIT, MODERATE = "open", "own", "submit", "moderate"
# What each address asks of whom. A new address without a row fails the test below.
RULES: dict[str, dict[str, str]] = {
    **{
        f"{name}-list": {"get": OPEN}
        for name in ("maker", "mount", "teleconverter", "adapter", "standing", "conflict")
    },
    **{f"{name}-list": {"get": OPEN, "post": SUBMIT} for name in ("lens", "body", "filter", "report")},
    **{f"{name}-list": {"get": OWN, "post": SUBMIT} for name in ("rig", "copy", "image", "token")},
    **{
        f"{name}-detail": {"get": OPEN}
        for name in (
            "maker",
            "mount",
            "lens",
            "body",
            "filter",
            "teleconverter",
            "adapter",
            "standing",
            "conflict",
        )
    },
    **{f"{name}-detail": {"get": OWN} for name in ("rig", "copy")},
    **{f"{name}-detail": {"get": OPEN, "patch": SUBMIT, "delete": SUBMIT} for name in ("report", "image")},
    "token-detail": {"get": OWN, "delete": SUBMIT},
    **{f"report-{act}": {"post": SUBMIT} for act in ("submit", "withdraw", "frames")},
    "conflict-foreseen": {"get": OPEN},
    "decision-list": {"get": OPEN, "post": MODERATE},
    "decision-detail": {"get": OPEN},
    **{f"decision-{act}": {"post": MODERATE} for act in ("foresee", "undo")},
    # Whose gear is corrected may consent; the room below knows who else.
    **{f"decision-{act}": {"post": SUBMIT} for act in ("agree", "decline")},
    **{f"release-{kind}": {"get": OPEN} for kind in ("list", "detail")},
    **{f"pick-list-{kind}": {"get": OPEN} for kind in ("list", "detail")},
    **{f"wanted-test-{kind}": {"get": OPEN} for kind in ("list", "detail")},
    **{f"wanted-test-{act}": {"post": SUBMIT} for act in ("reserve", "release")},
    **{name: {"get": OPEN} for name in ("exports", "export", "released-standings", "shot-lists")},
    **{f"bag-{kind}": {"get": OWN} for kind in ("list", "detail")},
    "missing-fact-list": {"get": OPEN, "post": SUBMIT},
    "report-batch": {"post": SUBMIT},
    "report-replies": {"post": SUBMIT},
    "image-known": {"post": OWN},
    "kit-plans": {"post": OPEN},
    "watch-list": {"get": OWN, "post": SUBMIT},
    "watch-detail": {"get": OWN, "delete": SUBMIT},
    "notices": {"get": OWN},
    "read-notices": {"post": SUBMIT},
    "me": {"get": OWN},
    "interest-list": {"get": OWN, "post": SUBMIT},
    "interest-detail": {"get": OWN, "delete": SUBMIT},
    **{f"{name}-list": {"get": OWN, "post": SUBMIT} for name in ("flag", "appeal")},
    **{f"{name}-detail": {"get": OWN} for name in ("flag", "appeal", "block")},
    "block-list": {"get": OWN, "post": MODERATE},
    **{name: {"post": MODERATE} for name in ("flag-settle", "block-lift", "appeal-answer")},
    **{f"hidden-picture-{kind}": {"get": MODERATE} for kind in ("list", "detail", "picture")},
    **{f"hidden-picture-{act}": {"post": MODERATE} for act in ("show", "keep")},
    "account-detail": {"get": MODERATE},
    **{f"waiting-report-{kind}": {"get": OPEN} for kind in ("list", "detail")},
    # An established contributor may; the room below knows who is one.
    "waiting-report-confirm": {"post": SUBMIT},
    "waiting-report-refuse": {"post": MODERATE},
    **{name: {"get": MODERATE} for name in ("desk", "desk-things", "desk-figures")},
    **{f"desk-{act}": {"post": MODERATE} for act in ("take-on", "hand-back")},
    **{f"event-{kind}": {"get": OPEN} for kind in ("list", "detail")},
    **{name: {"get": OPEN} for name in ("gear-proposals", "gear-proposal", "gear-history")},
    **{f"gear-proposal-{act}": {"post": MODERATE} for act in ("accept", "refuse")},
    "voice-detail": {"get": MODERATE},
    "voice-list": {"get": MODERATE, "post": MODERATE},
    "voice-count": {"post": MODERATE},
    **{f"{name}-list": {"get": MODERATE} for name in ("worth-joining", "same-copy")},
    "gear-double-list": {"get": MODERATE},
    "gear-double-apart": {"post": MODERATE},
    "gear-merge-list": {"get": OPEN, "post": MODERATE},
    "gear-merge-detail": {"get": OPEN},
    "gear-merge-take-back": {"post": MODERATE},
}
DESCRIPTION = {"openapi", "reference"}
ASKERS = {"anyone": set(), "reader": {OWN}, "submitter": {OWN, SUBMIT}, "moderator": {OWN, SUBMIT, MODERATE}}
METHODS = ("get", "post", "put", "patch", "delete")


def addresses() -> dict[str, str]:
    """One address for each name of the API, its parameters filled in with things that are not there."""
    _, resolver = get_resolver().namespace_dict["v1"]
    found = {}
    for name in resolver.reverse_dict:
        if isinstance(name, str):
            ((address, parameters),) = resolver.reverse_dict.getlist(name)[0][0]
            found[name] = "/api/v1/" + address % dict.fromkeys(parameters, "987654")
    return found


def client_of(asker: str) -> APIClient:
    if asker == "anyone":
        return APIClient()
    scopes = {
        "reader": ("read",),
        "submitter": ("read", "submit"),
        "moderator": ("read", "submit", "moderate"),
    }
    return with_token(AccountFactory(moderator=asker == "moderator"), *scopes[asker])


def test_every_address_has_a_rule():
    assert set(addresses()) - DESCRIPTION == set(RULES)


@pytest.mark.parametrize("asker", ASKERS)
def test_each_asker_is_let_in_exactly_where_the_rules_say(asker, settings):
    # There are more addresses than one may write to in a minute.
    settings.API_LIMITS = dict.fromkeys(settings.API_LIMITS, 10**6)
    client = client_of(asker)
    wrong = {}
    for name, address in addresses().items():
        if name in DESCRIPTION:
            continue
        for method in METHODS:
            status = getattr(client, method)(address, {}).status_code
            needed = RULES[name].get(method)
            if needed is None:
                right = status in (405, 401, 403)
            elif needed == OPEN or needed in ASKERS[asker]:
                right = status in (200, 201, 204, 400, 404, 415, 422, 428)
            else:
                right = status == (401 if asker == "anyone" else 403)
            if not right:
                wrong[f"{method} {name}"] = status
    assert wrong == {}


def test_a_moderators_narrow_token_does_not_moderate():
    client = with_token(AccountFactory(moderator=True), "read", "submit")
    answer = client.post("/api/v1/decisions/", {"reason": "x"})
    assert (answer.status_code, answer.json()["type"]) == (403, "/problems/not-allowed")
    assert "moderate" in answer.json()["detail"]


def test_a_session_may_do_all_that_its_role_may(contributor):
    client = APIClient()
    client.force_login(contributor)
    assert client.get("/api/v1/me/").json()["scopes"] == ["read", "submit"]


def test_a_session_must_show_that_the_site_itself_asks(contributor):
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(contributor)
    answer = client.post("/api/v1/rigs/", {})
    assert (answer.status_code, answer["Content-Type"]) == (403, "application/problem+json")


def test_fields_that_are_nobodys_to_set_are_refused(as_contributor, contributor):
    """Mass assignment: a role, an author or a state can't be sent."""
    other = AccountFactory()
    for field, value in (("author", other.pk), ("state", "submitted"), ("version", 9), ("public_id", "x")):
        answer = as_contributor.post("/api/v1/reports/", {"lens": "x", "basis": "graded", field: value})
        assert f"#/{field}" in [entry.get("pointer") for entry in answer.json()["errors"]]
    answer = as_contributor.post(
        "/api/v1/rigs/", {"body": "x", "conversion": "unconverted", "owner": other.pk}
    )
    assert answer.json()["errors"][0]["pointer"] == "#/owner"
