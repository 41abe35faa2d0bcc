"""Who may be called what, and what a token may do."""

import unicodedata
from collections.abc import Iterable
from datetime import timedelta

from registry.accounts.models import Account, Role
from registry.errors import InvalidInput, NotAllowed, Problem

SCOPES = ("read", "submit", "moderate")
TOKENS_PER_ACCOUNT = 20
USE_NOTED_EVERY = timedelta(hours=1)
SHORTEST_NAME, LONGEST_NAME = 2, 60


def scopes_allowed(account: Account) -> tuple[str, ...]:
    """Scopes that a token of this account can carry: none once the account is closed."""
    if not account.is_active:
        return ()
    return SCOPES if account.moderates else SCOPES[:2]


def effective_scopes(account: Account, granted: Iterable[str]) -> frozenset[str]:
    """What a token may do now: what it was granted, less what its account may no longer do."""
    return frozenset(granted) & frozenset(scopes_allowed(account))


def check_scopes(account: Account, scopes: Iterable[str]) -> list[str]:
    """Scopes in their usual order, each once.

    Raises InvalidInput for none or an unknown one, NotAllowed for one that the account may not grant.
    """
    wanted = set(scopes)
    unknown = sorted(wanted - set(SCOPES))
    if unknown or not wanted:
        raise InvalidInput(
            Problem(
                code="unknown-scope",
                field="scopes",
                value=unknown or [],
                says=f"“{unknown[0]}” is no scope." if unknown else "The token has no scope.",
                remedy=f"Choose from {', '.join(SCOPES)}.",
            )
        )
    beyond = sorted(wanted - set(scopes_allowed(account)))
    if beyond:
        raise NotAllowed(
            Problem(
                code="scope-beyond-role",
                field="scopes",
                value=beyond,
                says=f"A {account.role}'s token can't have the scope {', '.join(beyond)}.",
                remedy=f"Choose from {', '.join(scopes_allowed(account)) or 'none: the account is closed'}.",
            )
        )
    return [scope for scope in SCOPES if scope in wanted]


def clean_public_name(text: str, field: str = "name") -> str:
    """The name others see, in one form: compatible characters made equal (NFKC), single spaces.

    Raises InvalidInput for a length outside 2 to 60, or for invisible and control characters, which would
    let one person look like another.
    """
    name = " ".join(unicodedata.normalize("NFKC", text).split())
    hidden = any(unicodedata.category(sign)[0] == "C" for sign in name)
    if hidden or not SHORTEST_NAME <= len(name) <= LONGEST_NAME or "@" in name:
        raise InvalidInput(
            Problem(
                code="name-not-usable",
                field=field,
                value=text,
                says=f"“{text}” can't be shown as a name.",
                remedy=f"Choose {SHORTEST_NAME} to {LONGEST_NAME} visible characters without @: it is public.",
            )
        )
    return name


def may_change_roles(account: Account) -> bool:
    return account.is_active and account.role == Role.STEWARD
