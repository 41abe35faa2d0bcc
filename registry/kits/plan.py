"""A finished kit plan: what to buy, what goes on which lens, why, and what else would do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from decimal import Decimal
from typing import Any

from registry.kits.bag import FrontFilter, Ring
from registry.kits.sentences import Statement


@dataclass(frozen=True)
class KitFilter:
    """A filter of the kit. price: of one to buy, None for one owned or without prices."""

    filter: FrontFilter
    owned: bool
    price: Decimal | None


@dataclass(frozen=True)
class KitRing:
    """A ring of the kit: copies in use that are owned, copies to buy, price of one."""

    ring: Ring
    owned: int
    to_buy: int
    price: Decimal | None


@dataclass(frozen=True)
class Use:
    """A lens at a cut-on: which filter it takes, through which rings from the lens outwards.

    stack_mm: thickness of the rings. hood_fits: None for a lens without a hood.
    """

    lens: str
    thread_mm: float
    cut_on_nm: float
    filter: FrontFilter
    rings: tuple[Ring, ...]
    stack_mm: float
    angle_deg: float
    narrower: bool
    hood_fits: bool | None


@dataclass(frozen=True)
class Kit:
    """A set of filters and rings that serves the bag. cost: of what must be bought, None without prices."""

    filters: tuple[KitFilter, ...]
    rings: tuple[KitRing, ...]
    uses: tuple[Use, ...]
    cost: Decimal | None

    @property
    def filters_to_buy(self) -> int:
        return sum(not one.owned for one in self.filters)

    @property
    def rings_to_buy(self) -> int:
        return sum(one.to_buy for one in self.rings)

    @property
    def purchase(self) -> tuple:
        """What is bought, to compare kits by."""
        return (
            tuple(one.filter for one in self.filters if not one.owned),
            tuple((one.ring, one.to_buy) for one in self.rings if one.to_buy),
        )


@dataclass(frozen=True)
class CutOnAnswer:
    """How a wanted cut-on is reached: by a "filter", by a "body" alone, or it is "out-of-reach"."""

    cut_on_nm: float
    served_by: str


@dataclass(frozen=True)
class WithoutThread:
    """A lens that takes no screw-in filter at the front, why, and what works instead."""

    lens: str
    reason: Statement
    instead: tuple[Statement, ...]


@dataclass(frozen=True)
class KitPlan:
    """The best kit and what goes with it.

    unserved: wanted combinations that no filter can serve. alternatives: other kits within a tenth of the cost,
    best first (without prices: within a tenth of the number of pieces). more_alternatives: whether some may
    have been left out.
    """

    kit: Kit
    cut_ons: tuple[CutOnAnswer, ...]
    why: tuple[Statement, ...]
    cautions: tuple[Statement, ...]
    without_thread: tuple[WithoutThread, ...]
    unserved: tuple[Statement, ...]
    alternatives: tuple[Kit, ...]
    more_alternatives: bool
    currency: str = ""

    def to_dict(self) -> dict[str, Any]:
        """The plan in JSON's own types; money as a decimal string, statements with their sentence."""
        return _plain(self)


def _plain(value: Any) -> Any:
    if isinstance(value, Statement):
        return {"code": value.code, "values": _plain(value.values), "says": value.says}
    if isinstance(value, Kit):
        counts = {"filters_to_buy": value.filters_to_buy, "rings_to_buy": value.rings_to_buy}
        return {one.name: _plain(getattr(value, one.name)) for one in fields(value)} | counts
    if is_dataclass(value):
        return {one.name: _plain(getattr(value, one.name)) for one in fields(value)}
    if isinstance(value, Mapping):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return f"{value:.2f}" if isinstance(value, Decimal) else value
