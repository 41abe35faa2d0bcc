"""Reading bags: what an account keeps, and what the registry says of the lenses in a bag."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from registry.accounts.models import Account
from registry.bags.contents import Bag, BagBody, Carried
from registry.bags.models import KeptBag
from registry.bags.stored import read
from registry.gear.models import FilterSeat, Lens
from registry.gear.queries import lenses_at
from registry.reports.models import ConversionKind, Rig
from registry.standings.queries import LensRow, lens_rows


@dataclass(frozen=True)
class Packed:
    """A lens of a bag with what is said of it: one row for each cut-on (nm), and what the catalogue lacks."""

    lens: Lens
    carried: Carried
    rows: tuple[tuple[float, LensRow], ...]
    lacks: tuple[str, ...]


def bag_of(owner: Account) -> Bag:
    """The bag that an account keeps; an empty one where it keeps none."""
    kept = KeptBag.objects.filter(owner=owner).first()
    return bag_from(kept) if kept else Bag()


def bag_from(kept: KeptBag) -> Bag:
    rows = kept.lenses.order_by("place", "id").values_list("lens__slug", "state", "hood")
    return read(
        kept.rest | {"lenses": [{"lens": slug, "state": state, "hood": hood} for slug, state, hood in rows]}
    )


def lenses_of(bag: Bag) -> list[tuple[Lens, Carried]]:
    """The bag's lenses, in its order; those that the catalogue no longer has are left out, and one that was merged
    into another is that other."""
    by_slug = lenses_at(bag.slugs)
    present = {lens.slug: lens for lens in by_slug.values()}
    return [(present[one.lens], one) for one in _moved(bag, by_slug).lenses if one.lens in present]


def bag_now(bag: Bag) -> Bag:
    """A bag that was kept outside the database, with its lenses under the addresses that they have today."""
    return _moved(bag, lenses_at(bag.slugs))


def _moved(bag: Bag, by_slug: Mapping[str, Lens]) -> Bag:
    """The bag with each lens under its present address, once."""
    found: dict[str, Carried] = {}
    for one in bag.lenses:
        slug = by_slug[one.lens].slug if one.lens in by_slug else one.lens
        found.setdefault(slug, replace(one, lens=slug))
    return replace(bag, lenses=tuple(found.values()))


def packed(bag: Bag, cut_ons_nm: Sequence[float], visible_ev: float) -> list[Packed]:
    """The bag's lenses with their standings at each of these cut-ons, in the bag's order.

    visible_ev: the reader's tolerance, EV.
    """
    pairs = lenses_of(bag)
    lenses = [lens for lens, _ in pairs]
    by_cut_on = [(nm, lens_rows(lenses, cut_on_nm=nm, visible_ev=visible_ev)) for nm in cut_ons_nm]
    return [
        Packed(lens, carried, tuple((nm, rows[place]) for nm, rows in by_cut_on), lacking(lens))
        for place, (lens, carried) in enumerate(pairs)
    ]


def lacking(lens: Lens) -> tuple[str, ...]:
    """Facts that a bag would need and the catalogue lacks: "filter thread", "narrowest aperture", "mass"."""
    unknown = {
        "filter thread": lens.filter_seat == FilterSeat.FRONT_THREAD and lens.filter_thread_mm is None,
        "narrowest aperture": lens.narrowest_f is None,
        "mass": lens.mass_g is None,
    }
    return tuple(fact for fact, lacks in unknown.items() if lacks)


def bodies_to_offer(owner: Account, bag: Bag) -> list[BagBody]:
    """The owner's rigs as bodies for the bag, without those that it has. A rig that cuts a band has no single
    cut-on and is left out."""
    rigs = Rig.objects.filter(owner=owner).select_related("body__maker")
    return [body for body in _as_bodies(rigs) if body not in bag.bodies]


def _as_bodies(rigs: Iterable[Rig]) -> Iterable[BagBody]:
    for rig in rigs:
        if rig.conversion in (ConversionKind.BAND_PASS, ConversionKind.DUAL_BAND):
            continue
        converted = rig.cut_on_nm if rig.conversion == ConversionKind.LONG_PASS else None
        yield BagBody(str(rig.body)[:60], converted, rig.body.half_diagonal_mm)
