import pytest
from rest_framework.test import APIClient

from registry.accounts.services import issue_token
from tests.factories import AccountFactory


@pytest.fixture(autouse=True)
def _fresh_counts():
    from django.core.cache import cache, caches

    cache.clear()
    caches["pages"].clear()


@pytest.fixture
def anyone() -> APIClient:
    """Someone without an account."""
    return APIClient()


@pytest.fixture
def contributor():
    return AccountFactory()


@pytest.fixture
def as_contributor(contributor) -> APIClient:
    return with_token(contributor, "read", "submit")


@pytest.fixture
def as_moderator() -> APIClient:
    return with_token(AccountFactory(moderator=True), "read", "submit", "moderate")


def with_token(account, *scopes: str) -> APIClient:
    """A client that signs its requests with a token of this account."""
    _, secret = issue_token(account=account, name="test", scopes=scopes)
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Token {secret}")
    return client
