"""The kit plan of a bag: catalogue facts and a bag's contents into registry.kits, its plan out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from registry.bags.contents import OWNED, Bag, Carried, own_names
from registry.errors import CleanstopError
from registry.gear.models import Lens
from registry.kits.bag import BagLens, Need, Stacking
from registry.kits.plan import KitPlan
from registry.kits.planning import plan_kit

MOST_ALTERNATIVES = 4


@dataclass(frozen=True)
class Wishes:
    """How a plan's owner wants it, beside what is in the bag.

    priced: by the bag's prices, if it has any; else by the number of pieces. considered: also for lenses that are
    only considered. share_rings: one ring serves all lenses of its thread. narrower_by_mm: how much narrower than
    a thread a filter may be. most_rings: stacked on one lens, 0 to 2. ring_mm: thickness that a ring adds.
    """

    priced: bool = True
    considered: bool = True
    share_rings: bool = True
    narrower_by_mm: float = 0.0
    most_rings: int = Stacking.MOST_RINGS
    ring_mm: float = Stacking.ring_mm

    def stacking(self) -> Stacking:
        """The usual limits, with no lens bearing more rings than wished."""
        thickest = self.most_rings * self.ring_mm
        return Stacking(
            self.ring_mm, tuple((angle, min(allowed, thickest)) for angle, allowed in Stacking.allowed)
        )


def as_bag_lens(lens: Lens, carried: Carried) -> BagLens:
    """A catalogue lens as far as filters matter."""
    return BagLens(
        name=str(lens),
        filter_thread_mm=lens.filter_thread_mm,
        focal_min_mm=lens.focal_min_mm,
        filter_seat=lens.filter_seat,
        projection=lens.projection,
        hood=carried.hood,
    )


def plan_for(
    bag: Bag,
    lenses: Sequence[tuple[Lens, Carried]],
    need: Need,
    wishes: Wishes | None = None,
    *,
    max_alternatives: int = MOST_ALTERNATIVES,
) -> KitPlan:
    """The kit that serves lenses of the catalogue with what the bag has. Raises as plan_lenses does."""
    wishes = wishes or Wishes()
    wanted = [
        as_bag_lens(lens, carried) for lens, carried in lenses if wishes.considered or carried.state == OWNED
    ]
    return plan_lenses(bag, wanted, need, wishes, max_alternatives=max_alternatives)


def plan_lenses(
    bag: Bag,
    lenses: Sequence[BagLens],
    need: Need,
    wishes: Wishes,
    *,
    max_alternatives: int = MOST_ALTERNATIVES,
) -> KitPlan:
    """The kit that serves these lenses with what the bag has.

    Raises as plan_kit does, with the names that a bag gives its parts.
    """
    try:
        return plan_kit(
            lenses,
            need,
            bag.owned(),
            bag.prices if wishes.priced else None,
            share_rings=wishes.share_rings,
            narrower_by_mm=wishes.narrower_by_mm,
            stacking=wishes.stacking(),
            max_alternatives=max_alternatives,
        )
    except CleanstopError as refusal:
        raise type(refusal)(own_names(refusal.problems)) from refusal
