"""What goes into a kit plan: the lenses of a bag, what its owner has, what they want to photograph, and prices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from registry.optics.field_of_view import FULL_FRAME_HALF_DIAGONAL_MM, angle_of_view

# Two filters count as the same cut-on within this distance: what one maker sells as 715 another sells as 720
# (common practice, no source).
SAME_CUT_ON_NM = 5.0


@dataclass(frozen=True)
class BagLens:
    """A lens as far as filters matter.

    filter_thread_mm: diameter of the front thread, None where there is none or nobody knows it.
    focal_min_mm: the shortest focal length, where stacked rings cut into the picture first.
    filter_seat: where a filter can sit: "front-thread", "rear-holder", "drop-in" or "none".
    projection: "rectilinear", "fisheye" or "circular-fisheye".
    hood: whether it is used with a hood that attaches to the lens.
    cut_ons_nm: the cut-ons this lens is used at, where that differs from the bag's; None for all of the bag's.
    """

    name: str
    filter_thread_mm: float | None
    focal_min_mm: float
    filter_seat: str = "front-thread"
    projection: str = "rectilinear"
    hood: bool = False
    cut_ons_nm: tuple[float, ...] | None = None


@dataclass(frozen=True, order=True)
class FrontFilter:
    """A round screw-in long-pass filter: its cut-on in nm and its diameter in mm."""

    cut_on_nm: float
    diameter_mm: float


@dataclass(frozen=True, order=True)
class Ring:
    """An adapter ring: it screws into a thread of lens_side_mm and takes a filter of filter_side_mm.

    A step-up ring takes a larger filter than the lens; a step-down ring a smaller one.
    """

    lens_side_mm: float
    filter_side_mm: float


@dataclass(frozen=True)
class Owned:
    """What the owner has already: every piece once for each copy owned."""

    filters: tuple[FrontFilter, ...] = ()
    rings: tuple[Ring, ...] = ()


@dataclass(frozen=True)
class Need:
    """What the owner wants to photograph.

    cut_ons_nm: the wanted effective cut-ons.
    conversions_nm: what each body passes without a filter on the lens: the cut-on of its conversion or of a
        clip-in filter, None for full spectrum or no conversion. One such body makes every cut-on possible.
    half_diagonal_mm: of the largest sensor in use.
    """

    cut_ons_nm: tuple[float, ...]
    conversions_nm: tuple[float | None, ...] = (None,)
    half_diagonal_mm: float = FULL_FRAME_HALF_DIAGONAL_MM


@dataclass(frozen=True)
class Prices:
    """What can be bought and what it costs, in one currency; at most two decimals.

    filters: price by filter; one that isn't listed is not for sale.
    ring: price of any step-up ring that `rings` doesn't list; None when only those listed are for sale.
    rings: price by ring.
    """

    filters: Mapping[FrontFilter, Decimal | float | str]
    ring: Decimal | float | str | None = None
    rings: Mapping[Ring, Decimal | float | str] = field(default_factory=dict)
    currency: str = ""


@dataclass(frozen=True)
class Stacking:
    """How much may be screwed in front of a lens before its corners darken.

    ring_mm: thickness that a ring adds. allowed: (diagonal angle of view in degrees, thickness of rings in mm),
    the last entry whose angle the lens reaches decides; never more than two rings. largest_step_mm: the largest
    step between both sides of a ring that is commonly sold.

    Common practice, no source: rings add some 4 mm; a normal lens bears two, one seeing 75° or more (28 mm on
    36 × 24 mm) bears one, one seeing 120° or more none; rings stepping by up to some 40 mm are sold.
    """

    ring_mm: float = 4.0
    allowed: tuple[tuple[float, float], ...] = ((0.0, 9.0), (75.0, 5.0), (120.0, 0.0))
    largest_step_mm: float = 40.0

    MOST_RINGS = 2

    def thickness_allowed(self, angle_deg: float) -> float:
        """Thickness of rings in mm that a lens of this diagonal angle of view bears."""
        return [thickness for from_deg, thickness in sorted(self.allowed) if angle_deg >= from_deg][-1]

    def rings_allowed(self, angle_deg: float) -> int:
        """How many rings a lens of this diagonal angle of view bears, at most two."""
        return min(self.MOST_RINGS, int((self.thickness_allowed(angle_deg) + 1e-9) // self.ring_mm))


def widest_angle(lens: BagLens, half_diagonal_mm: float) -> float:
    """Diagonal angle of view in degrees at the lens's shortest focal length."""
    return angle_of_view(lens.focal_min_mm, half_diagonal_mm, fisheye=lens.projection != "rectilinear")


def same_cut_on(first_nm: float, second_nm: float) -> bool:
    """Whether two cut-ons stand for the same filter."""
    return abs(first_nm - second_nm) <= SAME_CUT_ON_NM
