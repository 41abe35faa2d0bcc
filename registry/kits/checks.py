"""Is what was asked sensible? All that is wrong is told at once, each with its field."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

from registry.errors import CleanstopError, InvalidInput, Problem, TooLarge
from registry.kits.bag import BagLens, Need, Owned, Prices, Stacking
from registry.optics.light_path import check_wavelength

SMALLEST_MM, LARGEST_MM = 10.0, 200.0
SEATS = ("front-thread", "rear-holder", "drop-in", "none")
PROJECTIONS = ("rectilinear", "fisheye", "circular-fisheye")
MOST_LENSES, MOST_CUT_ONS, MOST_PIECES, MOST_SIZES = 200, 8, 400, 40
HIGHEST_PRICE = Decimal(1_000_000)


def check_request(
    lenses: Sequence[BagLens],
    need: Need,
    owned: Owned,
    prices: Prices | None,
    stacking: Stacking,
    narrower_by_mm: float,
) -> None:
    """Raise TooLarge beyond the stated sizes, InvalidInput with every other problem found."""
    _check_sizes(lenses, need, owned, prices)
    problems = [
        *_lens_problems(lenses),
        *_need_problems(need),
        *_owned_problems(owned),
        *_price_problems(prices),
        *_stacking_problems(stacking),
        *check_length(narrower_by_mm, "narrower_by_mm", 0, LARGEST_MM),
    ]
    if problems:
        raise InvalidInput(problems)


def check_length(value: Any, field: str, smallest: float, largest: float) -> Iterator[Problem]:
    """A problem when value is no finite number of millimetres within the bounds."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not smallest <= value <= largest:
        yield Problem(
            code="length-out-of-range",
            field=field,
            value=value,
            says=f"“{value}” is not a length between {smallest:g} and {largest:g} mm.",
            remedy="Write it in millimetres, as engraved on the lens, ring or filter.",
        )


def _check_sizes(lenses: Sequence[BagLens], need: Need, owned: Owned, prices: Prices | None) -> None:
    wanted = {*need.cut_ons_nm, *(cut_on for lens in lenses for cut_on in lens.cut_ons_nm or ())}
    pieces = [
        *owned.filters,
        *owned.rings,
        *(prices.filters if prices else ()),
        *(prices.rings if prices else ()),
    ]
    for field, count, most in (
        ("lenses", len(lenses), MOST_LENSES),
        ("need.cut_ons_nm", len(wanted), MOST_CUT_ONS),
        ("prices", len(pieces), MOST_PIECES),
    ):
        if count > most:
            raise TooLarge(
                Problem(
                    code="kit-request-too-large",
                    field=field,
                    value=count,
                    says=f"{count} entries are more than a kit plan takes here, which is {most}.",
                    remedy="Plan for a part of the bag at a time.",
                )
            )
    sizes = {lens.filter_thread_mm for lens in lenses} | {
        size
        for piece in pieces
        for size in (
            (piece.diameter_mm,)
            if hasattr(piece, "diameter_mm")
            else (piece.lens_side_mm, piece.filter_side_mm)
        )
    }
    if len(sizes - {None}) > MOST_SIZES:
        raise TooLarge(
            Problem(
                code="kit-request-too-large",
                field="lenses",
                value=len(sizes),
                says=f"{len(sizes)} different diameters are more than a kit plan takes, which is {MOST_SIZES}.",
                remedy="Plan for a part of the bag at a time.",
            )
        )


def _lens_problems(lenses: Sequence[BagLens]) -> Iterator[Problem]:
    for index, lens in enumerate(lenses):
        at = f"lenses.{index}"
        if lens.filter_thread_mm is not None:
            yield from check_length(lens.filter_thread_mm, f"{at}.filter_thread_mm", SMALLEST_MM, LARGEST_MM)
        yield from check_length(lens.focal_min_mm, f"{at}.focal_min_mm", 1, 3000)
        yield from _choice(lens.filter_seat, f"{at}.filter_seat", SEATS)
        yield from _choice(lens.projection, f"{at}.projection", PROJECTIONS)
        yield from _wavelengths(lens.cut_ons_nm or (), f"{at}.cut_ons_nm")
        if lens.filter_thread_mm is not None and lens.filter_seat != "front-thread":
            yield Problem(
                code="thread-without-front-seat",
                field=f"{at}.filter_thread_mm",
                value=lens.filter_thread_mm,
                says=f"A thread of {lens.filter_thread_mm} mm contradicts the filter seat “{lens.filter_seat}”.",
                remedy="Leave the thread empty, or give the seat as front-thread.",
            )


def _need_problems(need: Need) -> Iterator[Problem]:
    yield from _wavelengths(need.cut_ons_nm, "need.cut_ons_nm")
    yield from _wavelengths((one for one in need.conversions_nm if one is not None), "need.conversions_nm")
    yield from check_length(need.half_diagonal_mm, "need.half_diagonal_mm", 1, 100)
    if not need.cut_ons_nm:
        yield Problem(
            code="no-cut-on",
            field="need.cut_ons_nm",
            value=(),
            says="No cut-on is wanted.",
            remedy="Name at least one cut-on in nanometres, such as 720.",
        )
    if not need.conversions_nm:
        yield Problem(
            code="no-body",
            field="need.conversions_nm",
            value=(),
            says="No body is named.",
            remedy="Give each body's conversion in nanometres, or null for full spectrum.",
        )


def _owned_problems(owned: Owned) -> Iterator[Problem]:
    for index, one in enumerate(owned.filters):
        yield from _wavelength(one.cut_on_nm, f"owned.filters.{index}.cut_on_nm")
        yield from check_length(
            one.diameter_mm, f"owned.filters.{index}.diameter_mm", SMALLEST_MM, LARGEST_MM
        )
    yield from _ring_problems(owned.rings, "owned.rings")


def _ring_problems(rings: Iterable[Any], at: str) -> Iterator[Problem]:
    for index, ring in enumerate(rings):
        yield from check_length(ring.lens_side_mm, f"{at}.{index}.lens_side_mm", SMALLEST_MM, LARGEST_MM)
        yield from check_length(ring.filter_side_mm, f"{at}.{index}.filter_side_mm", SMALLEST_MM, LARGEST_MM)
        if ring.lens_side_mm == ring.filter_side_mm:
            yield Problem(
                code="ring-without-step",
                field=f"{at}.{index}",
                value=ring.lens_side_mm,
                says=f"A ring from {ring.lens_side_mm} to {ring.filter_side_mm} mm changes nothing.",
                remedy="Give the thread that screws into the lens first, then the one that takes the filter.",
            )


def _price_problems(prices: Prices | None) -> Iterator[Problem]:
    if prices is None:
        return
    for index, (one, price) in enumerate(prices.filters.items()):
        at = f"prices.filters.{index}"
        yield from _wavelength(one.cut_on_nm, f"{at}.cut_on_nm")
        yield from check_length(one.diameter_mm, f"{at}.diameter_mm", SMALLEST_MM, LARGEST_MM)
        yield from _price(price, f"{at}.price")
    yield from _ring_problems(prices.rings, "prices.rings")
    for index, price in enumerate(prices.rings.values()):
        yield from _price(price, f"prices.rings.{index}.price")
    if prices.ring is not None:
        yield from _price(prices.ring, "prices.ring")


def _price(value: Any, field: str) -> Iterator[Problem]:
    try:
        price = Decimal(str(value))
        fits = price.is_finite() and 0 <= price <= HIGHEST_PRICE and price == round(price, 2)
    except InvalidOperation:
        fits = False
    if not fits:
        yield Problem(
            code="price-out-of-range",
            field=field,
            value=value,
            says=f"“{value}” is not a price between 0 and {HIGHEST_PRICE:,} with at most two decimals.",
            remedy="Write what one piece costs, such as 39.90.",
        )


def _stacking_problems(stacking: Stacking) -> Iterator[Problem]:
    yield from check_length(stacking.ring_mm, "stacking.ring_mm", 0.5, 50)
    yield from check_length(stacking.largest_step_mm, "stacking.largest_step_mm", 0, LARGEST_MM)
    for index, (_, thickness) in enumerate(stacking.allowed):
        yield from check_length(thickness, f"stacking.allowed.{index}", 0, 100)
    angles = [angle for angle, _ in stacking.allowed]
    if not all(math.isfinite(angle) for angle in angles) or min(angles, default=1) > 0:
        yield Problem(
            code="stacking-has-gaps",
            field="stacking.allowed",
            value=tuple(angles),
            says="The allowed thickness does not cover every angle of view.",
            remedy="Start the list at an angle of 0 degrees and write finite angles.",
        )


def _choice(value: str, field: str, known: tuple[str, ...]) -> Iterator[Problem]:
    if value not in known:
        yield Problem(
            code="unknown-choice",
            field=field,
            value=value,
            says=f"“{value}” is none of {', '.join(known)}.",
            remedy="Use one of these words.",
        )


def _wavelengths(values: Iterable[Any], field: str) -> Iterator[Problem]:
    for index, value in enumerate(values):
        yield from _wavelength(value, f"{field}.{index}")


def _wavelength(value: Any, field: str) -> Iterator[Problem]:
    try:
        check_wavelength(value, field)
    except CleanstopError as error:
        yield from error.problems
