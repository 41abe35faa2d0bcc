"""Moderators' acts on the catalogue: listing what was proposed, making doubles one, telling two apart."""

from __future__ import annotations

from django.db import transaction

from registry.accounts.models import Account
from registry.gear import merging
from registry.gear.holding import gives_way
from registry.gear.models import GearItem, Lens, Merge
from registry.gear.services import list_proposal
from registry.moderation.models import Handling
from registry.moderation.rules import check_may_moderate, check_no_part_in


@transaction.atomic
def list_gear(*, item: GearItem, by: Account) -> GearItem:
    """Take a proposal into the catalogue. Raises NotAllowed as check_may_moderate does."""
    check_may_moderate(by)
    Handling.objects.filter(kind="proposal", key=f"{item._meta.model_name}:{item.slug}").delete()
    return list_proposal(item=item, by=by)


@gives_way
@transaction.atomic
def merge_doubles(*, double: GearItem, into: GearItem, by: Account, reason: str = "") -> Merge:
    """As gear.merging.merge_gear; nobody merges a lens that they earn by."""
    _check(by, double, into)
    return merging.merge_gear(double=double, into=into, by=by, reason=reason)


@gives_way
@transaction.atomic
def part_doubles(*, merge: Merge, by: Account) -> GearItem:
    """As gear.merging.take_back_merge."""
    check_may_moderate(by)
    return merging.take_back_merge(merge=merge, by=by)


@transaction.atomic
def tell_apart(*, one: GearItem, other: GearItem, by: Account) -> None:
    """As gear.merging.set_apart."""
    _check(by, one, other)
    merging.set_apart(one=one, other=other, by=by)


def _check(by: Account, *items: GearItem) -> None:
    check_may_moderate(by)
    for item in items:
        if isinstance(item, Lens):
            check_no_part_in(by, item, ())
