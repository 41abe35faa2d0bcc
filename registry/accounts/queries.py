"""Looking people and their tokens up."""

from django.db.models import QuerySet

from registry.accounts.models import Account, TokenGrant
from registry.errors import NotFound, Problem


def account_by_public_id(public_id: str) -> Account:
    """Raises NotFound."""
    account = Account.objects.filter(public_id=public_id).first()
    if account is None:
        raise NotFound(
            Problem(
                code="unknown-account",
                field="account",
                value=public_id,
                says=f"There is no account “{public_id}”.",
                remedy="Check the ten characters; addresses of people are never reused.",
            )
        )
    return account


def tokens_of(account: Account) -> QuerySet[TokenGrant]:
    """The account's tokens by name; each has `token.created` and `token.expiry`."""
    return TokenGrant.objects.filter(token__user=account).select_related("token").order_by("name", "pk")
