"""Looking people and their tokens up."""

from django.apps import apps
from django.db.models import QuerySet

from registry.accounts.models import Account, Block, TokenGrant
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


def account_by_email(email: str) -> Account:
    """An open account by its address, in any case. Raises NotFound."""
    account = Account.objects.filter(email__iexact=email.strip(), is_active=True).first()
    if account is None:
        raise NotFound(
            Problem(
                code="unknown-account",
                field="email",
                value=email,
                says=f"No account has the email address “{email}”.",
                remedy="Check its spelling; a closed account has none any more.",
            )
        )
    return account


def email_is_confirmed(account: Account) -> bool:
    """Whether a letter to the account's present address has been answered."""
    addresses = apps.get_model("account", "EmailAddress").objects
    return addresses.filter(user=account, verified=True, email__iexact=account.email).exists()


def has_second_factor(account: Account) -> bool:
    """Whether an app or a key is asked for besides the password when this account signs in."""
    factors = apps.get_model("mfa", "Authenticator").objects.filter(user=account)
    return factors.exclude(type="recovery_codes").exists()


def tokens_of(account: Account) -> QuerySet[TokenGrant]:
    """The account's tokens by name; each has `token.created` and `token.expiry`."""
    return TokenGrant.objects.filter(token__user=account).select_related("token").order_by("name", "pk")


def token_of(account: Account, grant_id: int) -> TokenGrant:
    """Raises NotFound for any but one's own."""
    grant = tokens_of(account).filter(pk=grant_id).first()
    if grant is None:
        raise NotFound(
            Problem(
                code="unknown-token",
                field="token",
                value=grant_id,
                says=f"You have no token number {grant_id}.",
                remedy="It may be revoked already: see the list of your tokens.",
            )
        )
    return grant


def block_in_force(account: Account) -> Block | None:
    """The block that keeps an account from submitting, if there is one."""
    block = Block.objects.filter(account=account, lifted_at=None).select_related("by").first()
    return None if block is None or block.is_over else block
