"""A bag as JSON: how sessions and accounts keep it, and how programs read it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from registry.bags.contents import Bag, BagBody, Carried
from registry.kits.bag import FrontFilter, Prices, Ring


def written(bag: Bag) -> dict[str, Any]:
    """The bag in JSON's own types; money as a decimal string."""
    return {
        "lenses": [asdict(one) for one in bag.lenses],
        "cut_ons_nm": list(bag.cut_ons_nm),
        "bodies": [asdict(body) for body in bag.bodies],
        "filters": [asdict(one) for one in bag.filters],
        "rings": [asdict(one) for one in bag.rings],
        "prices": prices_written(bag.prices),
        "use": bag.use,
    }


def prices_written(prices: Prices | None) -> dict[str, Any] | None:
    if prices is None:
        return None
    return {
        "filters": [asdict(one) | {"price": str(price)} for one, price in prices.filters.items()],
        "ring": None if prices.ring is None else str(prices.ring),
        "rings": [asdict(one) | {"price": str(price)} for one, price in prices.rings.items()],
        "currency": prices.currency,
    }


def read(stored: Mapping[str, Any]) -> Bag:
    """The bag that `written` wrote. What a later edition of the software added is ignored, what it lacks is empty."""
    return Bag(
        lenses=tuple(Carried(**one) for one in stored.get("lenses", ())),
        cut_ons_nm=tuple(stored.get("cut_ons_nm", ())),
        bodies=tuple(BagBody(**one) for one in stored.get("bodies", ())),
        filters=tuple(FrontFilter(**one) for one in stored.get("filters", ())),
        rings=tuple(Ring(**one) for one in stored.get("rings", ())),
        prices=read_prices(stored.get("prices")),
        use=stored.get("use"),
    )


def read_prices(stored: Mapping[str, Any] | None) -> Prices | None:
    if stored is None:
        return None
    return Prices(
        filters={
            FrontFilter(one["cut_on_nm"], one["diameter_mm"]): one["price"]
            for one in stored.get("filters", ())
        },
        ring=stored.get("ring"),
        rings={
            Ring(one["lens_side_mm"], one["filter_side_mm"]): one["price"] for one in stored.get("rings", ())
        },
        currency=stored.get("currency") or "",
    )
