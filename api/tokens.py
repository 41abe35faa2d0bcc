"""API tokens: made by their owner, shown once, kept as a hash, narrowed to scopes."""

from __future__ import annotations

from datetime import timedelta

from django.db import transaction
from django.utils import timezone
from knox.auth import TokenAuthentication
from knox.models import AuthToken
from rest_framework.exceptions import AuthenticationFailed

from registry.accounts.models import Account, TokenGrant
from registry.accounts.rules import scopes_allowed
from registry.errors import Conflict, InvalidInput, NotFound, Problem

TOKENS_PER_ACCOUNT = 20
LONGEST_DAYS = 3650
# A token's last use is noted to the hour: enough to find forgotten ones, without a write per request.
NOTED_EVERY = timedelta(hours=1)


class RegistryTokenAuthentication(TokenAuthentication):
    """The token library's, which also answers undecodable tokens politely and notes when a token was used."""

    def authenticate_credentials(self, token: bytes):
        try:
            account, found = super().authenticate_credentials(token)
        except UnicodeDecodeError as error:
            raise AuthenticationFailed("Invalid token.") from error
        now = timezone.now()
        grant = TokenGrant.objects.filter(token=found).first()
        if grant and (grant.last_used_at is None or grant.last_used_at < now - NOTED_EVERY):
            TokenGrant.objects.filter(pk=grant.pk).update(last_used_at=now)
        found.known_grant = grant
        return account, found


def tokens_of(account: Account):
    return TokenGrant.objects.filter(token__user=account).select_related("token").order_by("pk")


@transaction.atomic
def create_token(
    *, owner: Account, name: str, scopes: list[str], days: int | None = None
) -> tuple[TokenGrant, str]:
    """Make a token and return its grant with the secret, which is not kept.

    Raises InvalidInput for scopes that the account doesn't have, Conflict beyond the limit of tokens.
    """
    Account.objects.select_for_update().get(pk=owner.pk)
    _check_scopes(owner, scopes)
    if tokens_of(owner).count() >= TOKENS_PER_ACCOUNT:
        raise Conflict(
            Problem(
                code="too-many-tokens",
                value=TOKENS_PER_ACCOUNT,
                says=f"You have {TOKENS_PER_ACCOUNT} tokens already.",
                remedy="Revoke one that you no longer use.",
            )
        )
    token, secret = AuthToken.objects.create(owner, expiry=timedelta(days=days) if days else None)
    grant = TokenGrant.objects.create(token=token, name=name, scopes=sorted(set(scopes)))
    return grant, secret


@transaction.atomic
def revoke_token(*, owner: Account, number: int) -> None:
    """Raises NotFound unless the owner has a token of this number."""
    grant = tokens_of(owner).filter(pk=number).first()
    if grant is None:
        raise NotFound(
            Problem(
                code="token-unknown",
                field="id",
                value=number,
                says=f"You have no token number {number}.",
                remedy="List your tokens and use a number from there.",
            )
        )
    grant.token.delete()


def _check_scopes(owner: Account, scopes: list[str]) -> None:
    allowed = scopes_allowed(owner)
    problems = [
        Problem(
            code="scope-not-yours",
            field=f"scopes[{index}]",
            value=scope,
            says=f"Your account can't give the scope “{scope}”.",
            remedy=f"Choose from: {', '.join(allowed)}.",
        )
        for index, scope in enumerate(scopes)
        if scope not in allowed
    ]
    if problems:
        raise InvalidInput(problems)
