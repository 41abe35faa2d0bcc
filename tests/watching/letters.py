"""People who can be written to."""

from allauth.account.models import EmailAddress

from registry.accounts.models import Account
from tests.factories import AccountFactory


def confirmed(account: Account | None = None) -> Account:
    """An account whose address has been confirmed."""
    account = account or AccountFactory()
    EmailAddress.objects.create(user=account, email=account.email, verified=True, primary=True)
    return account
