"""API tokens: what they may do, and that only their owners see and end them."""

from datetime import timedelta

import pytest
from django.utils import timezone

from registry.accounts.models import TokenGrant
from registry.accounts.queries import tokens_of
from registry.accounts.rules import TOKENS_PER_ACCOUNT, effective_scopes, scopes_allowed
from registry.accounts.services import grant_token_scopes, issue_token, note_token_use, revoke_token
from registry.errors import Conflict, InvalidInput, NotAllowed, NotFound
from tests.factories import AccountFactory

pytestmark = pytest.mark.django_db


def issued(account, **changed):
    return issue_token(account=account, **({"name": "Folder script", "scopes": ["submit", "read"]} | changed))


def test_the_secret_is_given_once_and_not_stored():
    grant, secret = issued(AccountFactory())
    stored = [grant.token.digest, grant.token.token_key, grant.name]
    assert len(secret) >= 64 and secret not in stored
    assert grant.scopes == ["read", "submit"]


@pytest.mark.parametrize(
    "who, scopes",
    [
        ({}, ("read", "submit")),
        ({"moderator": True}, ("read", "submit", "moderate")),
        ({"steward": True}, ("read", "submit", "moderate")),
        ({"is_active": False}, ()),
    ],
)
def test_an_account_can_give_the_scopes_of_its_role(who, scopes):
    assert scopes_allowed(AccountFactory(**who)) == scopes


def test_a_contributor_s_token_cannot_moderate():
    with pytest.raises(NotAllowed, match="can't have the scope moderate"):
        issued(AccountFactory(), scopes=["read", "moderate"])


def test_a_token_loses_what_its_account_loses():
    moderator = AccountFactory(moderator=True)
    grant, _ = issued(moderator, scopes=["read", "moderate"])
    moderator.role = "contributor"
    assert effective_scopes(moderator, grant.scopes) == {"read"}
    moderator.is_active = False
    assert effective_scopes(moderator, grant.scopes) == frozenset()


@pytest.mark.parametrize("wrong", [{"scopes": []}, {"scopes": ["write"]}, {"name": "  "}, {"name": "x" * 61}])
def test_a_token_needs_a_name_and_known_scopes(wrong):
    with pytest.raises(InvalidInput):
        issued(AccountFactory(), **wrong)
    assert not TokenGrant.objects.exists()


def test_a_token_may_expire():
    grant, _ = issued(AccountFactory(), lives=timedelta(days=30))
    assert timedelta(days=29) < grant.token.expiry - timezone.now() <= timedelta(days=30)
    assert issued(AccountFactory())[0].token.expiry is None


def test_an_account_has_twenty_tokens_at_most():
    account = AccountFactory()
    for _ in range(TOKENS_PER_ACCOUNT):
        issued(account)
    with pytest.raises(Conflict, match="Revoke one"):
        issued(account)


def test_scopes_are_granted_anew_in_place():
    grant, _ = issued(AccountFactory())
    assert grant_token_scopes(token=grant.token, name="Reader", scopes=["read"]).pk == grant.pk
    assert TokenGrant.objects.get().scopes == ["read"]


def test_only_the_owner_sees_and_revokes_a_token():
    owner, other = AccountFactory(), AccountFactory()
    grant, _ = issued(owner)
    assert list(tokens_of(owner)) == [grant] and not tokens_of(other)
    with pytest.raises(NotFound):
        revoke_token(account=other, grant_id=grant.pk)
    revoke_token(account=owner, grant_id=grant.pk)
    assert not tokens_of(owner)


def test_use_is_noted_to_the_hour():
    grant, _ = issued(AccountFactory())
    note_token_use(grant)
    first = TokenGrant.objects.get().last_used_at
    note_token_use(grant)
    assert TokenGrant.objects.get().last_used_at == first
    TokenGrant.objects.update(last_used_at=first - timedelta(hours=2))
    note_token_use(grant)
    assert TokenGrant.objects.get().last_used_at > first
