"""Why a plan is what it is, what to mind, and what becomes of lenses and cut-ons that no front filter serves."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from registry.kits.bag import BagLens, Need, same_cut_on
from registry.kits.plan import CutOnAnswer, Kit, Use, WithoutThread
from registry.kits.routes import cut_ons_of, lens_order
from registry.kits.sentences import Statement, state

# From here on even one ring may show in the corners: 28 mm on 36 × 24 mm (common practice, no source).
WIDE_DEG = 75.0
INSTEAD = {
    "rear-holder": ("rear-holder", "clip-in", "conversion"),
    "drop-in": ("drop-in", "clip-in", "conversion"),
    "none": ("clip-in", "conversion"),
    "front-thread": ("read-the-thread",),
}


@dataclass(frozen=True)
class Rivals:
    """What a plan is compared with; None where it serves not every lens."""

    plain: Kit | None
    per_thread: Kit | None


def answer_cut_ons(lenses: Iterable[BagLens], need: Need) -> tuple[CutOnAnswer, ...]:
    """How each wanted cut-on can be reached, shortest first."""
    wanted = sorted({*need.cut_ons_nm, *(one for lens in lenses for one in cut_ons_of(lens, need))})
    return tuple(CutOnAnswer(float(one), _served_by(one, need.conversions_nm)) for one in wanted)


def _served_by(cut_on_nm: float, conversions_nm: Sequence[float | None]) -> str:
    if any(one is not None and same_cut_on(one, cut_on_nm) for one in conversions_nm):
        return "body"
    return "filter" if any(one is None or one < cut_on_nm for one in conversions_nm) else "out-of-reach"


def explain(kit: Kit, answers: Iterable[CutOnAnswer], rivals: Rivals, currency: str) -> tuple[Statement, ...]:
    """Why this kit."""
    return (
        *(
            state("body-needs-no-filter", cut_on_nm=one.cut_on_nm)
            for one in answers
            if one.served_by == "body"
        ),
        *(_explain_filters(kit)),
        *(_explain_cost(kit, currency) if kit.uses else ()),
        *(_compare(kit, rivals, currency) if kit.filters_to_buy + kit.rings_to_buy else ()),
    )


def _explain_filters(kit: Kit) -> Iterator[Statement]:
    for one in kit.filters:
        uses = [use for use in kit.uses if use.filter == one.filter]
        numbers = {"cut_on_nm": one.filter.cut_on_nm, "diameter_mm": one.filter.diameter_mm}
        if one.owned:
            yield state("filter-owned", **numbers)
        if any(use.rings for use in uses) and numbers["diameter_mm"] == max(
            use.thread_mm for use in kit.uses
        ):
            yield state("filter-fits-largest-thread", **numbers)
        without = sum(not use.rings for use in uses)
        yield state("filter-serves", **numbers, lenses=len(uses), without_ring=without)
    owned = sum(ring.owned for ring in kit.rings)
    if owned:
        yield state("rings-owned", count=owned, of=owned + kit.rings_to_buy)


def _explain_cost(kit: Kit, currency: str) -> Iterator[Statement]:
    if not kit.filters_to_buy + kit.rings_to_buy:
        yield state("nothing-to-buy")
    elif kit.cost is not None:
        yield state("cheapest", cost=kit.cost, currency=_after(currency))
    else:
        yield state("fewest-pieces", filters=kit.filters_to_buy, rings=kit.rings_to_buy)


def _compare(kit: Kit, rivals: Rivals, currency: str) -> Iterator[Statement]:
    if rivals.plain is None:
        yield state("plain-answer-impossible")
    elif rivals.plain.purchase == kit.purchase:
        yield state("plain-answer-is-best")
    else:
        yield _toll("plain-answer", rivals.plain, currency)
    if rivals.per_thread is not None and rivals.per_thread.purchase != kit.purchase:
        yield _toll("filter-per-thread", rivals.per_thread, currency)


def _toll(code: str, kit: Kit, currency: str) -> Statement:
    if kit.cost is not None:
        return state(f"{code}-costs", cost=kit.cost, currency=_after(currency))
    return state(f"{code}-takes", filters=kit.filters_to_buy, rings=kit.rings_to_buy)


def _after(currency: str) -> str:
    return f" {currency}" if currency else ""


def caution(kit: Kit, without: Sequence[WithoutThread]) -> tuple[Statement, ...]:
    """What to mind with this kit; each once per lens."""
    found: dict[tuple, Statement] = {}
    if kit.filters or without:
        found["sun",] = state("no-eye-protection")
    for use in kit.uses:
        for statement in _lens_cautions(use):
            found.setdefault((statement.code, *statement.values.values()), statement)
    if kit.rings:
        found["ring",] = state("do-not-force-a-ring")
    if any(one.code == "conversion" for lens in without for one in lens.instead):
        found["body",] = state("conversion-by-professionals")
    return tuple(found.values())


def _lens_cautions(use: Use) -> Iterator[Statement]:
    # One ring in front of a lens that isn't wide is harmless (common practice, no source).
    if len(use.rings) > 1 or (use.rings and use.angle_deg >= WIDE_DEG):
        yield state(
            "stack-may-vignette",
            lens=use.lens,
            rings=len(use.rings),
            stack_mm=use.stack_mm,
            angle_deg=use.angle_deg,
        )
    if use.narrower:
        yield state(
            "narrower-may-vignette",
            lens=use.lens,
            diameter_mm=use.filter.diameter_mm,
            thread_mm=use.thread_mm,
        )
    if use.hood_fits is False:
        yield state("hood-does-not-fit", lens=use.lens, diameter_mm=use.filter.diameter_mm)


def lenses_without_thread(
    lenses: Iterable[BagLens], need: Need, by_filter: Sequence[float]
) -> tuple[WithoutThread, ...]:
    """Lenses that need a filter but take none at the front, and what works instead.

    by_filter: the cut-ons in nm that no body gives by itself.
    """
    answers = []
    for lens in sorted(lenses, key=lens_order):
        wanted = [one for one in by_filter if one in cut_ons_of(lens, need)]
        if lens.filter_thread_mm is not None or not wanted:
            continue
        reason = "thread-unknown" if lens.filter_seat == "front-thread" else "no-thread"
        instead = [
            state(code, cut_on_nm=one) if code == "conversion" else state(code)
            for code in INSTEAD[lens.filter_seat]
            for one in (wanted if code == "conversion" else wanted[:1])
        ]
        answers.append(WithoutThread(lens.name, state(reason, lens=lens.name), tuple(instead)))
    return tuple(answers)
