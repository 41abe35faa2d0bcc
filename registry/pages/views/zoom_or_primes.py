"""One zoom or several primes, side by side; the whole question stands in the address."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from registry.bags import queries
from registry.bags.covering import MOST_PRIMES, compare, suggest_primes
from registry.errors import CleanstopError
from registry.gear.models import GearKind, Lens
from registry.gear.queries import find_lenses, gear_by_slug
from registry.pages import camera
from registry.pages.forms.look_up import CameraForm
from registry.pages.own_bag import own_bag
from registry.pages.spans import draw_spans

NAME_FIELDS = {"zoom_name": "zoom", "prime_name": "prime"}


@require_safe
def zoom_or_primes(request: HttpRequest) -> HttpResponse:
    """zoom=SLUG, prime=SLUG again and again, cut_on_nm, visible_ev. Without a prime the nearest are suggested;
    a name typed is looked up and turned into an address."""
    for field, name in NAME_FIELDS.items():
        if typed := request.GET.get(field, "").strip():
            return _by_name(request, field, name, typed[:160])
    form = CameraForm(request.GET)
    seen = camera.seen_through(request, form.asked())
    if not request.GET.get("zoom"):
        return _choose(request, seen)
    zoom = _lens(request.GET["zoom"], "zoom")
    primes, suggested = _primes(request, zoom, seen)
    context = {
        "zoom": zoom,
        "primes": primes,
        "suggested": suggested,
        "seen": seen,
        "form": form,
        "full": len(primes) >= MOST_PRIMES,
        "tuned": form.asked(),
    }
    try:
        context["told"] = compare(
            zoom, primes, cut_on_nm=seen.cut_on_nm, visible_ev=seen.visible_ev, bag=own_bag(request)
        )
        context["drawn"] = draw_spans(context["told"].steps)
    except CleanstopError as error:
        context["problems"] = error.problems
    status = 422 if form.errors or "problems" in context else 200
    return render(request, "pages/zoom_or_primes.html", context, status=status)


def _lens(slug: str, field: str) -> Lens:
    return gear_by_slug(GearKind.LENS, slug[:140], field=field)


def _primes(request: HttpRequest, zoom: Lens, seen: camera.Camera) -> tuple[list[Lens], bool]:
    """The primes named, or those suggested; "none" names none."""
    named = [slug for slug in request.GET.getlist("prime") if slug]
    if named:
        return [_lens(slug, "prime") for slug in dict.fromkeys(named) if slug != "none"], False
    if not zoom.is_zoom:
        return [], False
    return suggest_primes(zoom, cut_on_nm=seen.cut_on_nm, visible_ev=seen.visible_ev), True


def _by_name(request: HttpRequest, field: str, name: str, typed: str) -> HttpResponse:
    """Go on with the nearest lens of the wanted kind; where there is none, say so."""
    wants_zoom = name == "zoom"
    found = [match.lens for match in find_lenses(typed, limit=20) if match.lens.is_zoom == wants_zoom]
    query = request.GET.copy()
    query.pop(field)
    if not found:
        return _choose(request, camera.remembered(request), {"not_found": typed, "kind": name})
    if wants_zoom:
        query.setlist("zoom", [found[0].slug])
        query.pop("prime", None)
    else:
        kept = [slug for slug in query.getlist("prime") if slug != "none"]
        query.setlist("prime", [*kept, found[0].slug])
    return redirect(f"{reverse('zoom-or-primes')}?{query.urlencode()}")


def _choose(request: HttpRequest, seen: camera.Camera, refusal: dict | None = None) -> HttpResponse:
    """Which zoom? Those of the bag are at hand."""
    zooms = [lens for lens, _ in queries.lenses_of(own_bag(request)) if lens.is_zoom]
    back = urlencode(
        [(key, value) for key, value in request.GET.lists() if key in ("zoom", "prime")], doseq=True
    )
    context = {"zooms": zooms, "seen": seen, "back": back} | (refusal or {})
    return render(request, "pages/zoom_or_primes_start.html", context, status=422 if refusal else 200)
