"""Changing the bag that an account keeps."""

from __future__ import annotations

from collections.abc import Callable

from django.db import transaction

from registry.accounts.models import Account
from registry.bags.contents import Bag
from registry.bags.models import BagLens, KeptBag
from registry.bags.queries import bag_from, lenses_of
from registry.bags.stored import written
from registry.gear.holding import hold_gear


@transaction.atomic
def change_bag(*, owner: Account, change: Callable[[Bag], Bag]) -> Bag:
    """Change an account's bag; two changes at once come one after the other, and neither is lost.

    change: gives the new bag from the present one; what it raises leaves the bag as it was.
    Lenses that the catalogue doesn't have are left out.
    """
    kept, _ = KeptBag.objects.get_or_create(owner=owner)
    kept = KeptBag.objects.select_for_update(no_key=True).get(pk=kept.pk)
    present = bag_from(kept)
    changed = change(present)
    if changed.lenses != present.lenses:
        _store_lenses(kept, changed)
    kept.rest = {name: part for name, part in written(changed).items() if name != "lenses"}
    kept.save(update_fields=["rest", "updated_at"])
    return bag_from(kept)


def keep_bag(*, owner: Account, bag: Bag) -> Bag:
    """Take over what someone packed before they signed in: added to what their account holds already."""
    return change_bag(owner=owner, change=lambda present: present.joined(bag))


def _store_lenses(kept: KeptBag, bag: Bag) -> None:
    pairs = lenses_of(bag)
    now = hold_gear(lens for lens, _ in pairs)
    kept.lenses.all().delete()
    BagLens.objects.bulk_create(
        BagLens(bag=kept, lens=now[lens], state=one.state, hood=one.hood, place=place)
        for place, (lens, one) in enumerate(pairs)
    )
