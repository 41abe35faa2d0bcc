"""Look up: which lenses stay clean on the reader's camera."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.cache import patch_vary_headers
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_safe

from registry.pages import camera
from registry.pages.figures import common_scale
from registry.pages.forms.look_up import CameraForm, LookUpForm
from registry.standings.queries import list_lenses

ROWS_A_PAGE = 30
FILTERS = ("kind", "focal_mm", "thread", "clean_to", "confidence", "untested")


@require_safe
def look_up(request: HttpRequest) -> HttpResponse:
    """Every filter stands in the address, so that a list can be linked and sent."""
    own = camera.remembered(request)
    data = request.GET.copy()
    for name, value in (
        ("mount", own.mount),
        ("cut_on_nm", f"{own.cut_on_nm:g}"),
        ("visible_ev", f"{own.visible_ev:g}"),
    ):
        data.setdefault(name, value)
    form = LookUpForm(data)
    seen = camera.seen_through(request, form.asked())
    typed = form.cleaned_data if form.is_valid() else {}
    found = list_lenses(
        search=typed.get("q", ""),
        mount=seen.mount or None,
        cut_on_nm=seen.cut_on_nm,
        visible_ev=seen.visible_ev,
        **{name: typed.get(name) or None for name in FILTERS},
    )
    page = Paginator(found, ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "seen": seen,
        "page": page,
        "scale": common_scale(row.ladder for row in page),
        "filtered": any(typed.get(name) for name in FILTERS),
        "new_camera": (seen.mount, seen.cut_on_nm, seen.visible_ev)
        != (own.mount, own.cut_on_nm, own.visible_ev),
    }
    rows_only = request.htmx and not request.htmx.history_restore_request
    template = "pages/look_up_rows.html" if rows_only else "pages/look_up.html"
    response = render(request, template, context, status=200 if form.is_valid() else 422)
    patch_vary_headers(response, ["HX-Request"])  # one address, two answers
    return response


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
    back = request.POST.get("back", "")
    safe = url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure())
    return redirect(back if safe else "home")
