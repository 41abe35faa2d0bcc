"""Look up: which lenses stay clean on the reader's camera."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.cache import patch_vary_headers
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from registry.pages import camera
from registry.pages.figures import common_scale
from registry.pages.forms.look_up import CameraForm, selects
from registry.pages.kept import kept, kept_page
from registry.pages.own_bag import own_bag
from registry.pages.returning import back_to
from registry.standings.queries import (
    Criteria,
    Facets,
    LensFilters,
    LensList,
    catalogue_stamp,
    facets_of,
)
from registry.wanted.queries import most_wanted

ROWS_A_PAGE = 50
SIFTING = ("kind", "focal_mm", "thread", "clean_to", "confidence", "untested", "among", "order")


@require_safe
def look_up(request: HttpRequest) -> HttpResponse:
    """Every filter stands in the address, so that a list can be linked and sent."""
    own, stamp, wanted = camera.remembered(request), catalogue_stamp(), most_wanted()
    rows_only = bool(request.htmx and not request.htmx.history_restore_request)

    def made() -> HttpResponse:
        context = _context(request, own, stamp) | {"wanted": wanted}
        template = "pages/look_up_answer.html" if rows_only else "pages/look_up.html"
        return render(request, template, context, status=422 if context["problems"] else 200)

    made_from = ("look-up", stamp, own, wanted, rows_only)
    response = kept_page(request, made_from, made) if stamp else made()
    patch_vary_headers(response, ["HX-Request"])  # one address, two answers
    if rows_only:
        response["HX-Push-Url"] = _short_address(request, own)
    return response


def _short_address(request: HttpRequest, own: camera.Camera) -> str:
    """The address without what it does not ask for; "any mount" is asked for by someone who has one."""
    asked = {name: value for name, value in request.GET.items() if value or (name == "mount" and own.mount)}
    return f"{request.path}?{urlencode(asked)}" if asked else request.path


def _context(request: HttpRequest, own: camera.Camera, stamp: str | None) -> dict:
    filters = LensFilters(_given(request, own))
    bag = own_bag(request)
    criteria = Criteria(
        **{"cut_on_nm": own.cut_on_nm, "visible_ev": own.visible_ev}
        | filters.asked()
        | {"among": bag.slugs if request.GET.get("bag") else None}
    )
    seen = camera.Camera(criteria.mount or "", criteria.cut_on_nm, criteria.visible_ev, own.chosen)
    facets: Facets = (
        kept(("facets", stamp, criteria), lambda: facets_of(criteria)) if stamp else facets_of(criteria)
    )
    page = Paginator(LensList(criteria, count=facets.total), ROWS_A_PAGE).get_page(request.GET.get("page"))
    sifted = any(getattr(criteria, name) is not None for name in SIFTING)
    return {
        "criteria": criteria,
        "problems": [(filters.form.fields[one.field].label, one) for one in filters.problems()],
        "typed": filters.data,
        "selects": selects(criteria, facets),
        "bag": bag,
        "seen": seen,
        "page": page,
        "scale": common_scale(row.ladder for row in page),
        "filtered": sifted,
        "plain": not (sifted or criteria.search or page.number > 1),
        "new_camera": _through(seen) != _through(own),
    }


def _given(request: HttpRequest, own: camera.Camera) -> dict[str, str]:
    """The address's filters; where it names no camera, the reader's own."""
    given = request.GET.dict()
    given.setdefault("search", given.get("q", ""))
    given.setdefault("mount", own.mount)
    return given


def _through(seen: camera.Camera) -> tuple:
    return seen.mount, seen.cut_on_nm, seen.visible_ev


def my_camera(request: HttpRequest) -> HttpResponse:
    """Remember, or forget, what the reader looks through; then go back to where they were."""
    if request.method != "POST":
        return redirect("home")
    form = CameraForm(request.POST)
    if "forget" in request.POST:
        camera.forget(request)
    elif form.is_valid():
        asked = form.asked()
        camera.remember(
            request,
            mount=asked["mount"] or "",
            cut_on_nm=asked["cut_on_nm"] or camera.COMMON_CUT_ON_NM,
            visible_ev=asked["visible_ev"] or camera.DEFAULT_VISIBLE_EV,
        )
    return back_to(request, "home")
