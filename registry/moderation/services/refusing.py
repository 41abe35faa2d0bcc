"""Refusing gear that was proposed: it leaves the catalogue again, as long as nobody has built on it."""

from __future__ import annotations

from django.db import transaction
from django.db.models import ProtectedError

from registry.accounts.models import Account
from registry.bags.models import BagLens
from registry.errors import Conflict, Problem
from registry.gear.carrying import values_of
from registry.gear.holding import gives_way
from registry.gear.models import GearItem, GearStatus, Lens
from registry.gear.queries import REFUSED, kind_of
from registry.ledger.services import record
from registry.moderation.models import Handling
from registry.moderation.rules import check_may_moderate, check_no_part_in, checked_reason
from registry.picks.models import Pick
from registry.wanted.models import Reservation
from registry.watching.models import Watch

# What people keep that would go with a lens; reports, copies and rigs hold on to gear by themselves.
KEPT_BY_PEOPLE = (Watch, BagLens, Pick, Reservation)


@gives_way
@transaction.atomic
def refuse_gear(*, item: GearItem, by: Account, reason: str) -> None:
    """Take a proposal out of the catalogue; the event log keeps what it said, and its address is given to no other.

    Raises NotAllowed for anyone but a moderator without an interest in it, Conflict once it is listed or something
    names it, InvalidInput without a reason.
    """
    check_may_moderate(by)
    if isinstance(item, Lens):
        check_no_part_in(by, item, ())
    reason = checked_reason(reason)
    item = type(item).objects.select_for_update(of=("self",)).select_related("maker").get(pk=item.pk)
    if item.status != GearStatus.PROPOSED:
        raise Conflict(
            Problem(
                code="already-listed",
                field="slug",
                value=item.slug,
                says=f"{item} is in the catalogue already.",
                remedy="If it is a double, merge it into the one that it means.",
            )
        )
    said = {"name": str(item), "reason": reason, "facts": values_of(item)}
    kind, slug = kind_of(item), item.slug
    if any(model.objects.filter(lens=item).exists() for model in KEPT_BY_PEOPLE if isinstance(item, Lens)):
        raise Conflict(_in_use(item))
    try:
        item.delete()
    except ProtectedError as error:
        raise Conflict(_in_use(item)) from error
    Handling.objects.filter(kind="proposal", key=f"{kind}:{slug}").delete()
    record(REFUSED, actor=by, subject_kind=kind, subject_id=slug, data=said)


def _in_use(item: GearItem) -> Problem:
    return Problem(
        code="already-used",
        field="slug",
        value=item.slug,
        says=f"{item} is named by reports, or kept by someone.",
        remedy="Merge it into the piece of gear that it means, or list it.",
    )
