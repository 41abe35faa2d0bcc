"""How much of what one photographs lies in the clean range, from a summary made on one's own machine."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from registry.bags.contents import Bag, Carried
from registry.bags.ranges import zones_of_lenses
from registry.bags.use import COMMAND, MOST_BYTES, judged, read_use, settle
from registry.errors import CleanstopError
from registry.gear.models import GearKind, Lens
from registry.gear.queries import gear_by_slug
from registry.optics.light_path import check_wavelength
from registry.pages import camera
from registry.pages.forms.bag import UseForm
from registry.pages.own_bag import change_own_bag, own_bag
from registry.pages.views.bag import cut_ons_of


@require_http_methods(["GET", "HEAD", "POST"])
def bag_use(request: HttpRequest) -> HttpResponse:
    """Send a summary, settle a name in it, put a lens used into the bag, or forget it."""
    form = UseForm()
    if request.method == "POST":
        form = UseForm(request.POST, request.FILES)
        if _done(request, form):
            return redirect("bag-use")
    return _page(request, form)


def _done(request: HttpRequest, form: UseForm) -> bool:
    if "forget" in request.POST:
        change_own_bag(request, lambda held: held.with_use(None))
    elif name := request.POST.get("name"):
        slug = request.POST.get("lens") or None
        change_own_bag(request, lambda held: _settled(held, name, slug))
    elif slug := request.POST.get("pack"):
        found = gear_by_slug(GearKind.LENS, slug[:140], field="pack")
        change_own_bag(request, lambda held: held.with_lens(Carried(found.slug)))
    else:
        return form.is_valid() and _taken(request, form)
    return True


def _taken(request: HttpRequest, form: UseForm) -> bool:
    file = form.cleaned_data["summary"]
    try:
        use = read_use(file.read(MOST_BYTES + 1))
    except CleanstopError as error:
        form.add_error("summary", " ".join(str(problem) for problem in error.problems))
        return False
    change_own_bag(request, lambda held: held.with_use(use))
    messages.success(request, f"{use['frames']:,} frames were read; only these counts are kept.")
    return True


def _settled(held: Bag, name: str, slug: str | None) -> Bag:
    """A lens that was not offered for the name is none."""
    if held.use is None:
        return held
    offered = {near for one in held.use["lenses"] if one["name"] == name for near in one["near"]}
    return held.with_use(settle(held.use, name, slug if slug in offered else None))


def _page(request: HttpRequest, form: UseForm) -> HttpResponse:
    held, seen = own_bag(request), camera.remembered(request)
    told = held.use["lenses"] if held.use else []
    asked = request.GET.get("cut_on_nm")
    cut_ons = cut_ons_of(request, held)
    cut_on = check_wavelength(asked) if asked else cut_ons[0]
    slugs = {one["lens"] for one in told} | {near for one in told for near in one["near"]}
    known = {lens.slug: lens for lens in Lens.objects.filter(slug__in=slugs - {None}).select_related("maker")}
    zones = zones_of_lenses(list(known.values()), cut_on_nm=cut_on, visible_ev=seen.visible_ev)
    context = {
        "bag": held,
        "use": held.use,
        "form": form,
        "lenses": judged(held, known, zones),
        "packed": held.slugs,
        "open": [
            {
                "name": one["name"],
                "frames": one["frames"],
                "near": [known[slug] for slug in one["near"] if slug in known],
            }
            for one in told
            if one["lens"] not in known and one["near"]
        ],
        "unmatched": [one for one in told if one["lens"] not in known and not one["near"]],
        "cut_on_nm": cut_on,
        "cut_ons": cut_ons,
        "command": COMMAND,
    }
    return render(request, "pages/bag_use.html", context, status=422 if form.errors else 200)
