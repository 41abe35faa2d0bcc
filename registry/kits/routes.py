"""How a filter can reach a lens: straight into its thread, or through one or two rings."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from registry.kits.bag import BagLens, Need, Ring, Stacking, widest_angle


@dataclass(frozen=True, order=True)
class Route:
    """Rings from the lens outwards, and the diameter of the filter at their end."""

    rings: tuple[Ring, ...]
    diameter_mm: float

    def is_narrower_than(self, thread_mm: float) -> bool:
        """Whether anything on the way is narrower than the lens's thread, so that it may vignette."""
        return min(self.diameter_mm, *(ring.filter_side_mm for ring in self.rings), thread_mm) < thread_mm


@dataclass(frozen=True)
class Station:
    """Lenses that a filter reaches in the same ways: one thread, one limit of rings, the same cut-ons."""

    thread_mm: float
    most_rings: int
    cut_ons_nm: tuple[float, ...]
    lenses: tuple[BagLens, ...]


def gather_stations(
    lenses: Iterable[BagLens], wanted: Sequence[float], need: Need, stacking: Stacking
) -> list[Station]:
    """The stations of the lenses that have a front thread, in an order that doesn't depend on the bag's.

    wanted: the cut-ons in nm that need a filter on the lens.
    """
    groups: dict[tuple, list[BagLens]] = defaultdict(list)
    for lens in sorted(lenses, key=lens_order):
        cut_ons = cut_ons_of(lens, need)
        if lens.filter_thread_mm is None or not (served := tuple(one for one in wanted if one in cut_ons)):
            continue
        most_rings = stacking.rings_allowed(widest_angle(lens, need.half_diagonal_mm))
        groups[float(lens.filter_thread_mm), most_rings, served].append(lens)
    return [Station(*key, tuple(members)) for key, members in sorted(groups.items())]


def part_for_owned_rings(station: Station, copies: int) -> list[Station]:
    """A station parted so that each of so many owned rings can go to a lens of its own.

    Lenses that get no owned ring do best all alike, so they stay together.
    """
    alone, alike = station.lenses[:copies], station.lenses[copies:]
    return [replace(station, lenses=lenses) for lenses in (*((lens,) for lens in alone), alike) if lenses]


def lens_order(lens: BagLens) -> tuple:
    """Sorts lenses by thread and then by everything else that tells them apart."""
    return (
        lens.filter_thread_mm or 0.0,
        lens.name,
        lens.focal_min_mm,
        lens.projection,
        lens.hood,
        lens.cut_ons_nm or (),
    )


def cut_ons_of(lens: BagLens, need: Need) -> tuple[float, ...]:
    """The cut-ons in nm at which a lens is used."""
    return need.cut_ons_nm if lens.cut_ons_nm is None else lens.cut_ons_nm


def routes_to(
    station: Station, diameters: set[float], rings: Iterable[Ring], narrower_by_mm: float = 0.0
) -> list[Route]:
    """All routes from a station's thread to filters of these diameters through at most its number of rings.

    No size on the way may be narrower than the thread by more than narrower_by_mm.
    """
    outward: dict[float, list[Ring]] = defaultdict(list)
    for ring in sorted(set(rings)):
        if ring.filter_side_mm >= station.thread_mm - narrower_by_mm:
            outward[ring.lens_side_mm].append(ring)

    def walk(size: float, passed: tuple[Ring, ...]) -> Iterator[Route]:
        if size in diameters:
            yield Route(passed, size)
        if len(passed) < station.most_rings:
            for ring in outward[size]:
                if ring.filter_side_mm != station.thread_mm:
                    yield from walk(ring.filter_side_mm, (*passed, ring))

    return sorted(walk(station.thread_mm, ()))
