"""Stopping an account's submissions, and letting it submit again."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account, Block
from registry.accounts.queries import block_in_force
from registry.errors import Conflict, NotAllowed, Problem
from registry.ledger.services import record


@transaction.atomic
def block_account(*, account: Account, by: Account, reason: str, until: datetime | None = None) -> Block:
    """Let an account submit nothing more, until it is lifted or a time has come; what it submitted stays as it is.

    reason, until: checked by the caller. Raises NotAllowed for oneself, or for someone who moderates; Conflict while
    the account is blocked or closed.
    """
    account = Account.objects.select_for_update(no_key=True).get(pk=account.pk)
    if account.moderates or account.pk == by.pk:
        raise NotAllowed(
            Problem(
                code="moderators-are-not-blocked",
                field="account",
                value=account.name,
                says=f"{account} moderates, or is yourself.",
                remedy="Ask a steward to change their role first.",
            )
        )
    if not account.is_active or block_in_force(account):
        raise Conflict(
            Problem(
                code="blocked-already",
                field="account",
                value=account.name,
                says=f"{account} is closed, or blocked already.",
                remedy="Nothing is left to do.",
            )
        )
    _end_what_is_over(account)
    block = Block.objects.create(account=account, by=by, reason=reason, until=until)
    _tell("account.blocked", block, by, reason)
    return block


@transaction.atomic
def lift_block(*, block: Block, by: Account, reason: str) -> Block:
    """Let an account submit again; harmless where it may."""
    block = Block.objects.select_for_update(no_key=True).get(pk=block.pk)
    if block.lifted_at is None:
        block.lifted_at, block.lifted_by = timezone.now(), by
        block.save(update_fields=["lifted_at", "lifted_by"])
        _tell("account.block-lifted", block, by, reason)
    return block


def _end_what_is_over(account: Account) -> None:
    """A block whose time has come makes room for another; nobody lifted it."""
    for block in Block.objects.filter(account=account, lifted_at=None):
        block.lifted_at = block.until
        block.save(update_fields=["lifted_at"])


def _tell(name: str, block: Block, by: Account, reason: str) -> None:
    record(
        name,
        actor=by,
        subject_kind="account",
        subject_id=block.account.public_id,
        data={"reason": reason} | ({"until": block.until} if block.until else {}),
    )
