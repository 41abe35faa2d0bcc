"""My bag: lenses, filters and rings at my cut-ons; what I use; the kit it needs; a card for the field."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from registry.bags import queries
from registry.bags.contents import Bag, Carried
from registry.bags.ranges import zones_of_lenses
from registry.bags.use import LensUse, judged
from registry.errors import CleanstopError
from registry.gear.models import GearKind, Lens
from registry.gear.queries import find_lenses, gear_by_slug
from registry.kits.bag import FrontFilter, Ring
from registry.pages import camera
from registry.pages.figures import common_scale
from registry.pages.forms.bag import (
    BodyForm,
    CarriedForm,
    CutOnForm,
    FilterForm,
    RingForm,
    put_beside,
)
from registry.pages.forms.lens_named import LensNamedForm
from registry.pages.own_bag import change_own_bag, own_bag

Change = Callable[[Bag], Bag]


@dataclass(frozen=True)
class Part:
    """A part of the bag that grows by a form. anchor: of its place on the page. change: from a valid form to the
    change that it asks for."""

    form: type[forms.Form]
    anchor: str
    change: Callable[[forms.Form], Change]


PARTS = {
    "cut-on": Part(
        CutOnForm, "cut-ons", lambda form: lambda bag: bag.with_cut_on(form.cleaned_data["cut_on_nm"])
    ),
    "body": Part(BodyForm, "bodies", lambda form: lambda bag: bag.with_body(form.body())),
    "filter": Part(FilterForm, "filters", lambda form: lambda bag: bag.with_filter(form.piece())),
    "ring": Part(RingForm, "rings", lambda form: lambda bag: bag.with_ring(form.piece())),
}


def cut_ons_of(request: HttpRequest, bag: Bag) -> tuple[float, ...]:
    """The cut-ons (nm) that a bag's pages speak of: the bag's own, or the reader's camera's."""
    return bag.cut_ons_nm or (camera.remembered(request).cut_on_nm,)


@require_http_methods(["GET", "HEAD", "POST"])
def bag(request: HttpRequest) -> HttpResponse:
    """The whole bag. A form on it names the part that it adds to, or what it takes out."""
    if request.method != "POST":
        return _bag_page(request)
    if (part := request.POST.get("add")) in PARTS:
        return _add(request, part)
    if "lens_name" in request.POST or "lens" in request.POST:
        return _add_lens(request)
    change = _asked_by_button(request)
    if change is not None:
        change_own_bag(request, change)
    return redirect(f"{reverse('bag')}#{request.POST.get('from', 'content')[:20]}")


def _add(request: HttpRequest, part: str) -> HttpResponse:
    form = PARTS[part].form(request.POST)
    if form.is_valid():
        try:
            change_own_bag(request, PARTS[part].change(form))
            return redirect(f"{reverse('bag')}#{PARTS[part].anchor}")
        except CleanstopError as error:
            put_beside(form, error)
    return _bag_page(request, {part: form})


def _add_lens(request: HttpRequest) -> HttpResponse:
    """A lens by its address, or by a name that means one lens only; else the nearest are offered."""
    form = LensNamedForm(request.POST)
    lens, matches = _lens_meant(request)
    if lens is None:
        form.full_clean()
        if "lens_name" in form.cleaned_data:
            nearest = "Choose yours among the nearest." if matches else "Check the spelling, or add it."
            form.add_error("lens_name", f"No lens of just this name is in the catalogue. {nearest}")
        return _bag_page(request, {"lens": form}, matches)
    state = "considered" if request.POST.get("state") == "considered" else "owned"
    try:
        change_own_bag(request, lambda held: held.with_lens(Carried(lens.slug, state)))
    except CleanstopError as error:
        form.full_clean()
        form.add_error(None, str(error))
        return _bag_page(request, {"lens": form}, matches)
    messages.success(request, f"{lens} is in your bag.")
    return redirect("bag")


def _lens_meant(request: HttpRequest) -> tuple[Lens | None, list]:
    if slug := request.POST.get("lens"):
        return gear_by_slug(GearKind.LENS, slug[:140], field="lens"), []
    typed = request.POST.get("lens_name", "").strip()[:160]
    matches = find_lenses(typed, limit=5) if typed else []
    sure = [match.lens for match in matches if match.score == 1 or str(match.lens) == typed]
    return (sure[0] if len(sure) == 1 else None), matches


def _used(held: Bag, packed: list[queries.Packed], cut_on_nm: float, visible_ev: float) -> dict[str, LensUse]:
    """How the bag's lenses are used at its first cut-on, by address; nothing where no summary was sent."""
    if held.use is None:
        return {}
    lenses = {one.lens.slug: one.lens for one in packed}
    zones = zones_of_lenses(list(lenses.values()), cut_on_nm=cut_on_nm, visible_ev=visible_ev)
    return {use.lens.slug: use for use in judged(held, lenses, zones) if use.frames}


def _offered(request: HttpRequest, held: Bag) -> Lens | None:
    """The lens that a link from its own page brings along, unless it is in the bag."""
    slug = request.GET.get("pack", "")[:140]
    return gear_by_slug(GearKind.LENS, slug, field="pack") if slug and slug not in held.slugs else None


def _asked_by_button(request: HttpRequest) -> Change | None:
    """What a button takes out of the bag, or in; None for one that this page doesn't have."""
    kind, _, figures = request.POST.get("act", "").partition(":")
    if kind == "everything":
        return lambda held: Bag()
    if kind == "rigs" and request.user.is_authenticated:
        return lambda held: _with_rigs(request, held)
    if kind == "body":
        return lambda held: _without_body(held, figures)
    try:
        numbers = [float(figure) for figure in figures.split("-")]
    except ValueError:
        return None
    removals: dict[tuple[str, int], Change] = {
        ("cut-on", 1): lambda held: held.without_cut_on(numbers[0]),
        ("filter", 2): lambda held: held.without_filter(FrontFilter(*numbers)),
        ("ring", 2): lambda held: held.without_ring(Ring(*numbers)),
    }
    return removals.get((kind, len(numbers)))


def _without_body(held: Bag, place: str) -> Bag:
    if place.isdecimal() and int(place) < len(held.bodies):
        return held.without_body(held.bodies[int(place)])
    return held


def _with_rigs(request: HttpRequest, held: Bag) -> Bag:
    for body in queries.bodies_to_offer(request.user, held):
        held = held.with_body(body)
    return held


@require_http_methods(["POST"])
def lens(request: HttpRequest, slug: str) -> HttpResponse:
    """Put a lens of a known address into the bag, change how it is carried, or take it out."""
    found = gear_by_slug(GearKind.LENS, slug)
    if "take_out" in request.POST:
        change_own_bag(request, lambda held: held.without_lens(slug))
        messages.info(request, f"{found} is out of your bag.")
    else:
        form = CarriedForm(request.POST)
        carried = form.carried(slug) if form.is_valid() else Carried(slug)
        change_own_bag(request, lambda held: held.with_lens(carried))
        messages.success(request, f"{found} is in your bag.")
    return redirect("bag")


def _bag_page(
    request: HttpRequest, sent: dict[str, forms.Form] | None = None, matches: list | None = None
) -> HttpResponse:
    """The page, with the form that was refused in its place."""
    held, seen = own_bag(request), camera.remembered(request)
    cut_ons = cut_ons_of(request, held)
    packed = queries.packed(held, cut_ons, seen.visible_ev)
    kept = {part: made.form() for part, made in PARTS.items()} | {"lens": LensNamedForm()} | (sent or {})
    rigs = queries.bodies_to_offer(request.user, held) if request.user.is_authenticated else []
    context = {
        "bag": held,
        "packed": packed,
        "gone": len(held.lenses) - len(packed),
        "cut_ons": cut_ons,
        "scale": common_scale(row.ladder for one in packed for _, row in one.rows),
        "seen": seen,
        "rigs": rigs,
        "forms": {part.replace("-", "_"): form for part, form in kept.items()},
        "form": kept["lens"],
        "typed": kept["lens"]["lens_name"].value() or "",
        "matches": matches or [],
        "lens_unknown": bool(sent and "lens" in sent),
        "zooms": [one.lens for one in packed if one.lens.is_zoom],
        "offered": _offered(request, held),
        "used": _used(held, packed, cut_ons[0], seen.visible_ev),
    }
    return render(request, "pages/bag.html", context, status=422 if sent else 200)
