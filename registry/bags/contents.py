"""What is in a bag, as a value: the same whether a browser's session, an account or a program holds it.

Changes give a new value, checked as a whole by the rules of registry.kits.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from registry.errors import InvalidInput, Problem, TooLarge
from registry.kits.bag import FrontFilter, Need, Owned, Prices, Ring, Stacking
from registry.kits.checks import check_request
from registry.optics.field_of_view import FULL_FRAME_HALF_DIAGONAL_MM

OWNED, CONSIDERED = "owned", "considered"
STATES = (OWNED, CONSIDERED)
MOST_LENSES, MOST_BODIES, MOST_CUT_ONS = 100, 20, 6
LONGEST_LABEL = 60


@dataclass(frozen=True)
class Carried:
    """A lens in a bag. lens: its address. state: "owned" or "considered". hood: used with one that attaches."""

    lens: str
    state: str = OWNED
    hood: bool = False


@dataclass(frozen=True)
class BagBody:
    """A camera that the bag's lenses are used on.

    conversion_nm: what it passes without a filter on the lens; None for full spectrum or no conversion.
    half_diagonal_mm: of its sensor.
    """

    label: str = ""
    conversion_nm: float | None = None
    half_diagonal_mm: float = FULL_FRAME_HALF_DIAGONAL_MM

    def __str__(self) -> str:
        light = (
            f"converted at {self.conversion_nm:g} nm" if self.conversion_nm else "every cut-on needs a filter"
        )
        return f"{self.label}: {light}" if self.label else light[:1].upper() + light[1:]


@dataclass(frozen=True)
class Bag:
    """A bag. cut_ons_nm: the effective cut-ons its owner photographs at, their usual one first.

    rings: one entry a copy. prices: what can be bought and for how much, None without prices.
    use: how often each lens, focal length and aperture was used, as registry.bags.use keeps it; None if not told.
    """

    lenses: tuple[Carried, ...] = ()
    cut_ons_nm: tuple[float, ...] = ()
    bodies: tuple[BagBody, ...] = ()
    filters: tuple[FrontFilter, ...] = ()
    rings: tuple[Ring, ...] = ()
    prices: Prices | None = None
    use: dict | None = None

    @property
    def is_empty(self) -> bool:
        return self == Bag()

    @property
    def slugs(self) -> tuple[str, ...]:
        return tuple(one.lens for one in self.lenses)

    def need(self, usual_cut_on_nm: float, cut_ons_nm: tuple[float, ...] = ()) -> Need:
        """What a kit plan is asked for.

        usual_cut_on_nm: asked for where the bag names none. cut_ons_nm: asked for instead of the bag's.
        Without bodies the plan is for one that needs a filter at every cut-on.
        """
        bodies = self.bodies or (BagBody(),)
        return Need(
            cut_ons_nm or self.cut_ons_nm or (usual_cut_on_nm,),
            tuple(dict.fromkeys(body.conversion_nm for body in bodies)),
            max(body.half_diagonal_mm for body in bodies),
        )

    def owned(self) -> Owned:
        return Owned(self.filters, self.rings)

    def with_lens(self, carried: Carried) -> Bag:
        """A lens added, or its entry replaced where it stands."""
        if carried.lens in self.slugs:
            return self._with(lenses=[carried if one.lens == carried.lens else one for one in self.lenses])
        return self._with(lenses=[*self.lenses, carried])

    def without_lens(self, slug: str) -> Bag:
        return self._with(lenses=[one for one in self.lenses if one.lens != slug])

    def with_filter(self, one: FrontFilter) -> Bag:
        added = FrontFilter(_tenths(one.cut_on_nm), _tenths(one.diameter_mm))
        return self._with(filters=sorted({*self.filters, added}))

    def without_filter(self, one: FrontFilter) -> Bag:
        return self._with(filters=[other for other in self.filters if other != one])

    def with_ring(self, one: Ring) -> Bag:
        added = Ring(_tenths(one.lens_side_mm), _tenths(one.filter_side_mm))
        return self._with(rings=sorted([*self.rings, added]))

    def without_ring(self, one: Ring) -> Bag:
        """One copy less of a ring."""
        rings = list(self.rings)
        if one in rings:
            rings.remove(one)
        return self._with(rings=rings)

    def with_cut_on(self, cut_on_nm: float) -> Bag:
        return self._with(cut_ons_nm=dict.fromkeys([*self.cut_ons_nm, _tenths(cut_on_nm)]))

    def without_cut_on(self, cut_on_nm: float) -> Bag:
        return self._with(cut_ons_nm=[one for one in self.cut_ons_nm if one != cut_on_nm])

    def with_body(self, body: BagBody) -> Bag:
        converted = None if body.conversion_nm is None else _tenths(body.conversion_nm)
        return self._with(bodies=dict.fromkeys([*self.bodies, replace(body, conversion_nm=converted)]))

    def without_body(self, body: BagBody) -> Bag:
        return self._with(bodies=[one for one in self.bodies if one != body])

    def with_prices(self, prices: Prices | None) -> Bag:
        return checked(replace(self, prices=prices))

    def with_use(self, use: dict | None) -> Bag:
        return replace(self, use=use)

    def joined(self, other: Bag) -> Bag:
        """Both bags in one: what this one says of a lens, of prices and of use comes first.

        Rings are counted once where both have them, so that joining a bag with itself changes nothing.
        """
        lenses = {one.lens: one for one in (*other.lenses, *self.lenses)}
        order = dict.fromkeys((*self.slugs, *other.slugs))
        both = {*self.rings, *other.rings}
        rings = [ring for ring in both for _ in range(max(self.rings.count(ring), other.rings.count(ring)))]
        return checked(
            Bag(
                tuple(lenses[slug] for slug in order),
                tuple(dict.fromkeys((*self.cut_ons_nm, *other.cut_ons_nm))),
                tuple(dict.fromkeys((*self.bodies, *other.bodies))),
                tuple(sorted({*self.filters, *other.filters})),
                tuple(sorted(rings)),
                self.prices or other.prices,
                self.use or other.use,
            )
        )

    def _with(self, **parts: Iterable) -> Bag:
        return checked(replace(self, **{name: tuple(part) for name, part in parts.items()}))


def _tenths(value: float) -> float:
    """Sizes and wavelengths are engraved in tenths at the finest."""
    return round(float(value), 1)


def checked(bag: Bag) -> Bag:
    """The bag, if it makes sense.

    Raises TooLarge beyond the stated sizes, InvalidInput with every other problem, fields named as in the bag.
    """
    for field, entries, most in (
        ("lenses", bag.lenses, MOST_LENSES),
        ("bodies", bag.bodies, MOST_BODIES),
        ("cut_ons_nm", bag.cut_ons_nm, MOST_CUT_ONS),
    ):
        if len(entries) > most:
            raise TooLarge(_too_many(field, len(entries), most))
    problems = [*_lens_problems(bag), *_label_problems(bag)]
    try:
        need = replace(bag.need(usual_cut_on_nm=720.0), conversions_nm=_conversions(bag))
        check_request((), need, bag.owned(), bag.prices, Stacking(), 0.0)
    except InvalidInput as refusal:
        problems += own_names(refusal.problems)
    if problems:
        raise InvalidInput(problems)
    return bag


def _conversions(bag: Bag) -> tuple[float | None, ...]:
    """One a body, so that a problem's place is the body's."""
    return tuple(body.conversion_nm for body in bag.bodies) or (None,)


def own_names(problems: Iterable[Problem]) -> list[Problem]:
    """Problems of a kit's request with the names that a bag gives its parts."""
    return [replace(problem, field=_own_name(problem.field)) for problem in problems]


def _own_name(field: str) -> str:
    """need.conversions_nm.1 → bodies.1.conversion_nm, owned.filters.0 → filters.0, stacking.ring_mm → ring_mm."""
    if field.startswith("need.conversions_nm."):
        return f"bodies.{field.rsplit('.', 1)[1]}.conversion_nm"
    if field == "need.half_diagonal_mm":
        return "bodies"
    for room in ("need.", "owned.", "stacking."):
        field = field.removeprefix(room)
    return field


def _too_many(field: str, count: int, most: int) -> Problem:
    return Problem(
        code="too-many",
        field=field,
        value=count,
        says=f"{count} entries are more than a bag holds here, which is {most}.",
        remedy="Take something out first.",
    )


def _lens_problems(bag: Bag) -> list[Problem]:
    return [
        Problem(
            code="unknown-choice",
            field=f"lenses.{index}.state",
            value=one.state,
            says=f"“{one.state}” is none of {', '.join(STATES)}.",
            remedy="Use one of these words.",
        )
        for index, one in enumerate(bag.lenses)
        if one.state not in STATES
    ]


def _label_problems(bag: Bag) -> list[Problem]:
    return [
        Problem(
            code="text-too-long",
            field=f"bodies.{index}.label",
            value=body.label,
            says=f"The label has {len(body.label)} characters; {LONGEST_LABEL} fit.",
            remedy="Shorten it.",
        )
        for index, body in enumerate(bag.bodies)
        if len(body.label) > LONGEST_LABEL
    ]
