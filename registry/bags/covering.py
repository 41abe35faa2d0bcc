"""One zoom or several primes: what each side covers cleanly at a cut-on, and what carrying it takes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from django.db.models import F

from registry.bags.contents import Bag, Carried
from registry.bags.planning import Wishes, plan_for
from registry.bags.ranges import CleanRange, Zones, clean_range, zones_of_lenses
from registry.consensus.cells import focal_zone
from registry.consensus.constants import VISIBLE_EV
from registry.errors import InvalidInput, Problem, TooLarge
from registry.gear.models import Lens
from registry.kits.bag import Need
from registry.kits.plan import KitPlan

# Focal lengths in mm that lenses are commonly marked with (common practice, no source).
USUAL_FOCAL_LENGTHS_MM = (
    8,
    10,
    12,
    14,
    16,
    20,
    24,
    28,
    35,
    50,
    70,
    85,
    105,
    135,
    200,
    300,
    400,
    500,
    600,
    800,
)
SAME_FOCAL = 0.06  # two focal lengths within this share of each other frame alike
MOST_PRIMES, MOST_SUGGESTED = 8, 4


@dataclass(frozen=True)
class Step:
    """One focal length of the range: what the zoom does there, and the prime that serves it.

    prime: at its own focal length; None where every prime is longer. kept_share: of the frame's area that is left
    when the prime's picture is cropped to this angle of view; 1 at its own focal length.
    """

    focal_mm: float
    zoom: CleanRange
    prime: CleanRange | None
    kept_share: float


@dataclass(frozen=True)
class Side:
    """What carrying one side takes. mass_g: of the lenses whose mass is known. mass_unknown: those without.
    changes: of lenses from the shortest to the longest focal length. clean_at: focal lengths of the range that it
    frames without cropping and where the registry states a clean range; of: how many there are."""

    lenses: tuple[Lens, ...]
    mass_g: float
    mass_unknown: tuple[Lens, ...]
    changes: int
    clean_at: int
    of: int
    plan: KitPlan


@dataclass(frozen=True)
class Comparison:
    """Both sides, and the range of the zoom in steps, shortest first."""

    cut_on_nm: float
    steps: tuple[Step, ...]
    zoom: Side
    primes: Side


def compare(
    zoom: Lens,
    primes: Sequence[Lens],
    *,
    cut_on_nm: float,
    visible_ev: float = VISIBLE_EV,
    bag: Bag | None = None,
) -> Comparison:
    """A zoom beside primes at a cut-on (nm) and tolerance (EV).

    bag: whose filters, rings, prices and bodies the kits are planned with; None for someone with nothing yet.
    Raises InvalidInput when the zoom is a prime or a prime a zoom, TooLarge for too many primes.
    """
    _check_kinds(zoom, primes)
    bag = bag or Bag()
    primes = sorted(dict.fromkeys(primes), key=lambda lens: (lens.focal_min_mm, lens.slug))
    zones = zones_of_lenses([zoom, *primes], cut_on_nm=cut_on_nm, visible_ev=visible_ev)
    steps = tuple(_step(zoom, primes, zones, focal) for focal in focal_lengths(zoom, primes))
    need = bag.need(cut_on_nm, (cut_on_nm,))
    framed = [step for step in steps if step.prime and step.kept_share == 1]
    return Comparison(
        cut_on_nm,
        steps,
        _side([zoom], bag, need, [step.zoom for step in steps], len(steps)),
        _side(primes, bag, need, [step.prime for step in framed], len(steps)),
    )


def focal_lengths(zoom: Lens, primes: Iterable[Lens] = ()) -> list[float]:
    """Focal lengths in mm to compare at: the zoom's ends, the primes' own, and the usual ones between them."""
    low, high = zoom.focal_min_mm, zoom.focal_max_mm
    chosen = [low, high]
    own = [lens.focal_min_mm for lens in primes]
    for focal in (*own, *map(float, USUAL_FOCAL_LENGTHS_MM)):
        if low <= focal <= high and not any(_alike(focal, other) for other in chosen):
            chosen.append(focal)
    return sorted(chosen)


def suggest_primes(
    zoom: Lens, *, cut_on_nm: float, visible_ev: float = VISIBLE_EV, most: int = MOST_SUGGESTED
) -> list[Lens]:
    """Primes of the zoom's mount within its range: of each focal zone the one that stays clean furthest, then the
    lightest; where there are more than `most`, those spread furthest apart."""
    near = Lens.objects.filter(mounts__in=zoom.mounts.all(), focal_min_mm=F("focal_max_mm")).distinct()
    low, high = zoom.focal_min_mm * (1 - SAME_FOCAL), zoom.focal_max_mm * (1 + SAME_FOCAL)
    found = list(near.filter(focal_min_mm__range=(low, high)).select_related("maker"))
    zones = zones_of_lenses(found, cut_on_nm=cut_on_nm, visible_ev=visible_ev)
    best: dict[str, Lens] = {}
    for lens in sorted(found, key=lambda lens: _preference(lens, zones[lens.pk])):
        best.setdefault(focal_zone(lens.focal_min_mm), lens)
    return _spread(list(best.values()), most)


def _preference(lens: Lens, zones: Zones) -> tuple:
    clean = clean_range(lens, zones, lens.focal_min_mm)
    return (-clean.stops, not clean.tested, lens.mass_g or float("inf"), lens.slug)


def _spread(ranked: Sequence[Lens], most: int) -> list[Lens]:
    """At most so many of these, by focal length: of the two closest to each other the later ranked goes."""
    place = {lens: index for index, lens in enumerate(ranked)}
    kept = sorted(ranked, key=lambda lens: lens.focal_min_mm)
    while len(kept) > most:
        pairs = pairwise(kept)
        closest = min(pairs, key=lambda pair: pair[1].focal_min_mm / pair[0].focal_min_mm)
        kept.remove(max(closest, key=place.__getitem__))
    return kept


def _alike(first: float, second: float) -> bool:
    return abs(first - second) <= SAME_FOCAL * min(first, second)


def _step(zoom: Lens, primes: Sequence[Lens], zones: dict[int, Zones], focal: float) -> Step:
    here = clean_range(zoom, zones[zoom.pk], focal)
    exact = [lens for lens in primes if _alike(lens.focal_min_mm, focal)]
    shorter = [lens for lens in primes if lens.focal_min_mm < focal]
    if not exact and not shorter:
        return Step(focal, here, None, 0.0)
    serving = min(exact, key=lambda lens: abs(lens.focal_min_mm - focal)) if exact else shorter[-1]
    kept = 1.0 if exact else (serving.focal_min_mm / focal) ** 2
    return Step(focal, here, clean_range(serving, zones[serving.pk], serving.focal_min_mm), kept)


def _side(lenses: Sequence[Lens], bag: Bag, need: Need, ranges: Sequence[CleanRange], count: int) -> Side:
    hoods = {one.lens: one.hood for one in bag.lenses}
    carried = [(lens, Carried(lens.slug, hood=hoods.get(lens.slug, False))) for lens in lenses]
    return Side(
        lenses=tuple(lenses),
        mass_g=sum(lens.mass_g or 0.0 for lens in lenses),
        mass_unknown=tuple(lens for lens in lenses if lens.mass_g is None),
        changes=max(0, len(lenses) - 1),
        clean_at=sum(one.clean_to is not None for one in ranges),
        of=count,
        plan=plan_for(bag, carried, need, Wishes(priced=bag.prices is not None), max_alternatives=0),
    )


def _check_kinds(zoom: Lens, primes: Sequence[Lens]) -> None:
    if not zoom.is_zoom:
        raise InvalidInput(_of_another_kind("zoom", zoom, "prime", "Choose a zoom to compare primes with."))
    if mistaken := [lens for lens in primes if lens.is_zoom]:
        raise InvalidInput(
            _of_another_kind(
                "prime", mistaken[0], "zoom", "Choose lenses of one focal length to set beside it."
            )
        )
    if len(primes) > MOST_PRIMES:
        raise TooLarge(
            Problem(
                code="too-many",
                field="prime",
                value=len(primes),
                says=f"{len(primes)} primes are more than are compared at once, which is {MOST_PRIMES}.",
                remedy="Leave some out.",
            )
        )


def _of_another_kind(field: str, lens: Lens, kind: str, remedy: str) -> Problem:
    return Problem(
        code="lens-of-another-kind",
        field=field,
        value=lens.slug,
        says=f"{lens} is a {kind}.",
        remedy=remedy,
    )
