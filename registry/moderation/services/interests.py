"""Declaring what one earns by, and that it is over."""

from __future__ import annotations

from django.db import transaction

from registry.accounts.models import Account
from registry.errors import InvalidInput, Problem
from registry.gear.holding import held
from registry.gear.models import Lens, Maker
from registry.ledger.services import record
from registry.moderation.models import Interest


@transaction.atomic
def declare_interest(*, account: Account, lens: Lens | None = None, maker: Maker | None = None) -> Interest:
    """Say that one sells, makes or is paid for a lens, or for a maker's lenses. Said twice, it is said once.

    Raises InvalidInput unless one of both is named.
    """
    if (lens is None) == (maker is None):
        raise InvalidInput(
            Problem(
                code="lens-or-maker-needed",
                field="lens",
                says="It is not said in what.",
                remedy="Name one lens, or one maker.",
            )
        )
    lens = held(lens) if lens else None
    interest, fresh = Interest.objects.get_or_create(account=account, lens=lens, maker=maker)
    if fresh:
        _tell("interest.declared", interest)
    return interest


@transaction.atomic
def withdraw_interest(*, account: Account, interest_id: int) -> None:
    """Say that it is over; harmless where nothing of one's own is of that number."""
    for interest in Interest.objects.filter(account=account, pk=interest_id):
        _tell("interest.withdrawn", interest)
        interest.delete()


def _tell(name: str, interest: Interest) -> None:
    data = {
        "lens": interest.lens.slug if interest.lens else None,
        "maker": interest.maker.slug if interest.maker else None,
    }
    account = interest.account
    record(name, actor=account, subject_kind="account", subject_id=account.public_id, data=data)
