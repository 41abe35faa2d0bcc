"""Registering people, giving them roles, and giving their programs tokens."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from django.apps import apps
from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from registry.accounts.addresses import note_address
from registry.accounts.belongings import remove_belongings
from registry.accounts.models import Account, Role, TokenGrant
from registry.accounts.queries import block_in_force, email_is_confirmed, token_of
from registry.accounts.rules import (
    TOKENS_PER_ACCOUNT,
    USE_NOTED_EVERY,
    check_scopes,
    clean_public_name,
    may_change_roles,
)
from registry.errors import Conflict, InvalidInput, NotAllowed, Problem
from registry.identifiers import new_public_id
from registry.ledger.services import record


@transaction.atomic
def register(*, email: str, name: str, password: str, role: str = Role.CONTRIBUTOR) -> Account:
    """Open an account. Raises InvalidInput with every field's problem, Conflict for a taken name or address."""
    problems = [*_email_problems(email), *_role_problems(role)]
    try:
        name = clean_public_name(name)
    except InvalidInput as refusal:
        problems += refusal.problems
    problems += _password_problems(password, Account(email=email, name=name))
    if problems:
        raise InvalidInput(problems)
    _refuse_taken(email=email, name=name)
    account = Account.objects.create_user(email, password, name=name, role=role)
    note_address(account)
    record("account.registered", actor=account, subject_kind="account", subject_id=account.public_id, data={})
    return account


@transaction.atomic
def rename(*, account: Account, name: str) -> Account:
    """Change the name others see. Raises InvalidInput, or Conflict when another account has it."""
    name = clean_public_name(name)
    _refuse_taken(name=name, but=account)
    account.name = name
    account.save(update_fields=["name"])
    return account


@transaction.atomic
def change_role(*, account: Account, role: str, by: Account) -> Account:
    """Make someone contributor, moderator or steward; stewards also get the steward's desk.

    Raises NotAllowed unless `by` is a steward, Conflict when the last steward would step down.
    """
    problems = _role_problems(role)
    if problems:
        raise InvalidInput(problems)
    if not may_change_roles(by):
        raise NotAllowed(
            Problem(
                code="stewards-only",
                says="Only a steward may change roles.",
                remedy="Ask one: the stewards are named on the about page.",
            )
        )
    account = Account.objects.select_for_update(no_key=True).get(pk=account.pk)
    if account.role == Role.STEWARD != role and not _other_stewards(account):
        raise Conflict(
            Problem(
                code="last-steward",
                field="role",
                value=role,
                says=f"{account} is the only steward.",
                remedy="Make someone else a steward first.",
            )
        )
    before, account.role = account.role, role
    account.is_staff = account.is_superuser = role == Role.STEWARD
    account.save(update_fields=["role", "is_staff", "is_superuser"])
    if before != role:
        data = {"before": before, "after": role}
        record(
            "account.role-changed", actor=by, subject_kind="account", subject_id=account.public_id, data=data
        )
    return account


def check_may_submit(account: Account) -> None:
    """Raise NotAllowed while an account is blocked, or its email address is not confirmed where this installation
    asks for it."""
    check_not_blocked(account)
    if settings.SUBMIT_NEEDS_CONFIRMED_EMAIL and not email_is_confirmed(account):
        raise NotAllowed(
            Problem(
                code="email-not-confirmed",
                field="author",
                says="Your email address is not confirmed yet, so that nothing can be submitted.",
                remedy="Open the link in the letter that was sent to you, or ask for another on your account page; "
                "the draft waits.",
            )
        )


def check_not_blocked(account: Account) -> None:
    """Raise NotAllowed while a moderator has stopped an account's submissions."""
    block = block_in_force(account)
    if block is not None:
        raise NotAllowed(
            Problem(
                code="account-blocked",
                field="author",
                value=account.name,
                says=f"This account can’t submit anything since {block.at:%d %B %Y}: {block.reason}",
                remedy="What you submitted before stays. You can appeal under your account.",
            )
        )


def check_password_of(account: Account, password: str) -> None:
    """Raise InvalidInput unless the password is the account's; it is not repeated in the problem."""
    if not account.check_password(password):
        raise InvalidInput(
            Problem(
                code="wrong-password",
                field="password",
                says="This is not your password.",
                remedy="Type it again, or have it reset first.",
            )
        )


@transaction.atomic
def close_account(*, account: Account, data: dict | None = None) -> str:
    """Make an account nobody's: its name a pseudonym, its email, password, tokens and all that was its own gone.

    What it contributed stays, under the pseudonym, which is returned. data: told in the event log, which names no one.
    Raises Conflict for the last steward. Whether it is really they who ask has been checked before.
    """
    account = Account.objects.select_for_update(no_key=True).get(pk=account.pk)
    if account.role == Role.STEWARD and not _other_stewards(account):
        raise Conflict(
            Problem(
                code="last-steward",
                field="role",
                value=account.role,
                says=f"{account} is the only steward.",
                remedy="Make someone else a steward first.",
            )
        )
    remove_belongings(account)
    account.name = _pseudonym()
    account.email = f"{account.public_id}@closed.invalid"  # no mail can ever go there (RFC 2606)
    account.role = Role.CONTRIBUTOR
    account.is_active = account.is_staff = account.is_superuser = False
    account.last_login = None
    account.set_unusable_password()  # which ends every session
    account.save()
    record(
        "account.closed",
        actor=account,
        subject_kind="account",
        subject_id=account.public_id,
        data=data or {},
    )
    return account.name


@transaction.atomic
def issue_token(
    *, account: Account, name: str, scopes: Iterable[str], lives: timedelta | None = None
) -> tuple[TokenGrant, str]:
    """Make an API token; return its grant and the token itself, which is shown once and stored only as a hash.

    lives: how long it is valid; None for until it is revoked.
    Raises InvalidInput, NotAllowed for scopes beyond the account's role, Conflict beyond 20 tokens.
    """
    wanted = check_scopes(account, scopes)
    Account.objects.select_for_update(no_key=True).get(
        pk=account.pk
    )  # so that two at once can't both be the twentieth
    tokens = apps.get_model("knox", "AuthToken").objects
    if tokens.filter(user=account).count() >= TOKENS_PER_ACCOUNT:
        raise Conflict(
            Problem(
                code="too-many-tokens",
                says=f"The account has {TOKENS_PER_ACCOUNT} tokens already.",
                remedy="Revoke one that is no longer used.",
            )
        )
    token, secret = tokens.create(user=account, expiry=lives)
    return grant_token_scopes(token=token, name=name, scopes=wanted), secret


@transaction.atomic
def grant_token_scopes(*, token, name: str, scopes: Iterable[str]) -> TokenGrant:
    """Say what a token is called and may do, anew if it had a grant. token: the token library's row."""
    name = " ".join(name.split())
    if not 1 <= len(name) <= 60 or not name.isprintable():
        raise InvalidInput(
            Problem(
                code="token-name-not-usable",
                field="name",
                value=name,
                says=f"“{name}” is no name of 1 to 60 printable characters.",
                remedy="Name the program or machine that will use the token.",
            )
        )
    wanted = check_scopes(token.user, scopes)
    grant, _ = TokenGrant.objects.update_or_create(token=token, defaults={"name": name, "scopes": wanted})
    return grant


@transaction.atomic
def revoke_token(*, account: Account, grant_id: int) -> None:
    """End a token of one's own. Raises NotFound for any other."""
    token_of(account, grant_id).token.delete()


def note_token_use(grant: TokenGrant) -> None:
    """Remember, to the hour, that a token was used, so that its owner sees which ones are idle."""
    now = timezone.now()
    if grant.last_used_at and grant.last_used_at >= now - USE_NOTED_EVERY:
        return  # known already: most requests write nothing
    TokenGrant.objects.filter(
        Q(last_used_at__isnull=True) | Q(last_used_at__lt=now - USE_NOTED_EVERY), pk=grant.pk
    ).update(last_used_at=now)


def _pseudonym() -> str:
    while True:
        name = f"Former contributor {new_public_id()[:5]}"
        if not Account.objects.filter(name__iexact=name).exists():
            return name


def _other_stewards(account: Account) -> bool:
    return Account.objects.filter(role=Role.STEWARD, is_active=True).exclude(pk=account.pk).exists()


def _refuse_taken(*, name: str, email: str = "", but: Account | None = None) -> None:
    others = Account.objects.exclude(pk=but.pk) if but else Account.objects.all()
    problems = []
    if email and others.filter(email__iexact=email.strip()).exists():
        problems.append(
            Problem(
                code="email-taken",
                field="email",
                value=email,
                says="There is an account with this email address already.",
                remedy="Sign in, or have the password reset.",
            )
        )
    if others.filter(name__iexact=name).exists():
        problems.append(
            Problem(
                code="name-taken",
                field="name",
                value=name,
                says=f"Someone is called “{name}” already.",
                remedy="Choose a name that nobody can mistake for theirs.",
            )
        )
    if problems:
        raise Conflict(problems)


def _email_problems(email: str) -> list[Problem]:
    try:
        validate_email(email.strip())
    except ValidationError:
        return [
            Problem(
                code="not-an-email",
                field="email",
                value=email,
                says=f"“{email}” is no email address.",
                remedy="Write it like name@example.org.",
            )
        ]
    return []


def _password_problems(password: str, account: Account) -> list[Problem]:
    try:
        validate_password(password, account)
    except ValidationError as refusal:
        # The password itself must not travel any further.
        return [
            Problem(
                code="weak-password",
                field="password",
                says=message,
                remedy="Choose a longer phrase of your own.",
            )
            for message in refusal.messages
        ]
    return []


def _role_problems(role: str) -> list[Problem]:
    if role in Role.values:
        return []
    return [
        Problem(
            code="unknown-role",
            field="role",
            value=role,
            says=f"“{role}” is no role.",
            remedy=f"Choose one of {', '.join(Role.values)}.",
        )
    ]
