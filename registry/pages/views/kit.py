"""The kit that a bag needs, and the card that goes along into the field."""

from __future__ import annotations

from collections.abc import Sequence

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from registry.bags import queries
from registry.bags.card import card_lines, sheet_size
from registry.bags.contents import OWNED, Bag
from registry.bags.planning import Wishes, plan_for
from registry.bags.queries import Packed
from registry.bags.ranges import zones_of_lenses
from registry.consensus.constants import METHOD_VERSION
from registry.errors import CleanstopError
from registry.gear.models import Lens
from registry.kits.plan import KitPlan
from registry.optics.light_path import check_wavelength
from registry.pages import camera
from registry.pages.figures import common_scale
from registry.pages.forms.bag import PricesForm, WishesForm, put_beside
from registry.pages.own_bag import change_own_bag, own_bag
from registry.pages.views.bag import cut_ons_of


@require_http_methods(["GET", "HEAD", "POST"])
def kit_plan(request: HttpRequest) -> HttpResponse:
    """Which filters and rings serve the bag. Wishes stand in the address; prices are kept in the bag."""
    held = own_bag(request)
    pairs = queries.lenses_of(held)
    prices = _prices_form(request, held, [lens for lens, _ in pairs])
    if request.method == "POST":
        if "forget" in request.POST:
            change_own_bag(request, lambda bag: bag.with_prices(None))
            return redirect(request.get_full_path())
        if prices.is_valid() and _store(request, prices):
            return redirect(request.get_full_path())
    wishes_form = WishesForm(request.GET)
    wishes = wishes_form.wishes(has_prices=held.prices is not None)
    plan, problems = _planned(request, held, pairs, wishes)
    refused = bool(prices.errors or wishes_form.errors or problems)
    context = {
        "bag": held,
        "plan": plan,
        "problems": problems,
        "wishes": wishes_form,
        "changed": any(request.GET.get(name) for name in wishes_form.fields),
        "prices": prices,
        "asked": [(name, value) for name, values in request.GET.lists() for value in values],
        "lenses": {str(lens): lens for lens, _ in pairs},
    }
    return render(request, "pages/kit_plan.html", context, status=422 if refused else 200)


def _planned(request, held: Bag, pairs, wishes: Wishes) -> tuple[KitPlan | None, tuple]:
    """The plan, or what is wrong with what was asked."""
    if not pairs:
        return None, ()
    try:
        return plan_for(held, pairs, held.need(camera.remembered(request).cut_on_nm), wishes), ()
    except CleanstopError as error:
        return None, error.problems


def _prices_form(request: HttpRequest, held: Bag, lenses: Sequence[Lens]) -> PricesForm:
    """A price for each diameter that a lens or a ring of the bag has, and for those priced before."""
    sizes = {lens.filter_thread_mm for lens in lenses} | {ring.filter_side_mm for ring in held.rings}
    sizes |= {one.diameter_mm for one in (held.prices.filters if held.prices else ())}
    data = request.POST if request.method == "POST" and "forget" not in request.POST else None
    sizes |= {_number(size) for size in request.GET.getlist("size")}
    cut_ons = cut_ons_of(request, held)
    return PricesForm(data, sizes=sorted(sizes - {None}), cut_ons=cut_ons, prices=held.prices)


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if 10 <= number <= 200 else None


def _store(request: HttpRequest, form: PricesForm) -> bool:
    try:
        change_own_bag(request, lambda bag: bag.with_prices(form.prices()))
    except CleanstopError as error:
        put_beside(form, error)
        return False
    messages.success(request, "Your prices are kept with the bag.")
    return True


@require_safe
def field_card(request: HttpRequest) -> HttpResponse:
    """One sheet for the field, at one cut-on: the lenses owned, or with ?all=1 those considered too."""
    held, seen = own_bag(request), camera.remembered(request)
    asked = request.GET.get("cut_on_nm")
    cut_ons = cut_ons_of(request, held)
    cut_on = check_wavelength(asked) if asked else cut_ons[0]
    every = queries.packed(held, (cut_on,), seen.visible_ev)
    owned = [one for one in every if one.carried.state == OWNED]
    shown = every if "all" in request.GET or not owned else owned
    lines = _lines(held, shown, cut_on, seen.visible_ev)
    context = {
        "lines": lines,
        "size": sheet_size(lines),
        "scale": common_scale(line.row.ladder for line in lines),
        "has_zoom": any(line.lens.is_zoom for line in lines),
        "cut_on_nm": cut_on,
        "cut_ons": cut_ons,
        "left_out": len(every) - len(shown),
        "with_considered": len(shown) > len(owned) and bool(owned),
        "to_get": any(line.to_get for line in lines),
        "seen": seen,
        "today": timezone.localdate(),
        "method_version": METHOD_VERSION,
    }
    return render(request, "pages/field_card.html", context)


def _lines(held: Bag, shown: Sequence[Packed], cut_on_nm: float, visible_ev: float) -> list:
    lenses = [one.lens for one in shown]
    zones = zones_of_lenses(lenses, cut_on_nm=cut_on_nm, visible_ev=visible_ev)
    plan = plan_for(
        held,
        [(one.lens, one.carried) for one in shown],
        held.need(cut_on_nm, (cut_on_nm,)),
        Wishes(priced=held.prices is not None),
        max_alternatives=0,
    )
    return card_lines(shown, zones, plan, cut_on_nm)
