"""Lists of picks: read by anyone, made, changed and withdrawn by whoever signs them."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.errors import CleanstopError, NotAllowed, Problem
from registry.gear.models import GearKind
from registry.gear.queries import gear_by_slug
from registry.pages import camera
from registry.pages.forms.picks import list_forms
from registry.pages.problems import put_beside_fields
from registry.picks import queries, services
from registry.picks.models import PickList
from registry.standings.queries import lens_rows

LISTS_A_PAGE = 20


@require_safe
def lists(request: HttpRequest) -> HttpResponse:
    """Every list, newest first; with ?lens=, those that name it."""
    slug = request.GET.get("lens")
    lens = gear_by_slug(GearKind.LENS, slug) if slug else None
    page = Paginator(queries.pick_lists(lens=lens), LISTS_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "pages/pick_lists.html", {"page": page, "lens": lens})


@require_safe
def pick_list(request: HttpRequest, public_id: str) -> HttpResponse:
    """One list, beside each pick what the registry says of the lens at the reader's cut-on."""
    found = queries.pick_list(public_id)
    own = camera.remembered(request)
    picks = queries.picks_in(found)
    rows = lens_rows([pick.lens for pick in picks], cut_on_nm=own.cut_on_nm, visible_ev=own.visible_ev)
    context = {"list": found, "picks": list(zip(picks, rows, strict=True)), "seen": own}
    return render(request, "pages/pick_list.html", context, status=410 if found.is_withdrawn else 200)


@login_required
@require_http_methods(["GET", "POST"])
def new_list(request: HttpRequest) -> HttpResponse:
    slug = request.GET.get("lens")
    named = str(gear_by_slug(GearKind.LENS, slug)) if slug else ""
    return _edit(request, None, lens_name=named)


@login_required
@require_http_methods(["GET", "POST"])
def change_list(request: HttpRequest, public_id: str) -> HttpResponse:
    known = queries.pick_list(public_id)
    if known.author_id != request.user.pk:
        raise NotAllowed(
            Problem(
                code="not-your-list",
                value=public_id,
                says=f"The list is {known.author}’s.",
                remedy="Make one of your own.",
            )
        )
    return redirect("pick-list", public_id) if known.is_withdrawn else _edit(request, known)


@login_required
@require_POST
def withdraw_list(request: HttpRequest, public_id: str) -> HttpResponse:
    services.withdraw_list(pick_list=queries.pick_list(public_id), by=request.user)
    messages.info(request, "Your list is withdrawn; its address says so.")
    return redirect("pick-lists")


def _edit(request: HttpRequest, known: PickList | None, *, lens_name: str = "") -> HttpResponse:
    picks = queries.picks_in(known) if known else []
    data = request.POST if request.method == "POST" else None
    form, rows = list_forms(data, known=known, picks=picks, lens_name=lens_name)
    if data is not None and form.is_valid() and rows.is_valid():
        try:
            return redirect("pick-list", _save(request, known, form, rows).public_id)
        except CleanstopError as error:
            put_beside_fields(form, error, {"version": "the whole list"})
    context = {"form": form, "rows": rows, "known": known}
    return render(request, "pages/pick_list_edit.html", context, status=422 if data is not None else 200)


def _save(request: HttpRequest, known: PickList | None, form, rows) -> PickList:
    said = {
        "title": form.cleaned_data["title"],
        "about": form.cleaned_data["about"],
        "picks": [row.given for row in rows if row.given],
    }
    if known is None:
        return services.publish_list(author=request.user, **said)
    return services.change_list(
        pick_list=known, by=request.user, expected_version=form.cleaned_data.get("version"), **said
    )
