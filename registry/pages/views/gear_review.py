"""The catalogue's upkeep: proposals to list, doubles to make one, merges to take back; and one thing's history."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from registry.errors import InvalidInput, Problem
from registry.gear.doubles import doubles
from registry.gear.models import GearItem, GearKind
from registry.gear.queries import MODELS, former_slugs, gear_by_slug, sources_of
from registry.moderation.queries import catalogue
from registry.moderation.rules import check_may_moderate
from registry.moderation.services import catalogue as acts
from registry.moderation.services.refusing import refuse_gear

A_PAGE = 20


@login_required
@require_safe
def upkeep(request: HttpRequest) -> HttpResponse:
    """What waits in the catalogue. Moderators only."""
    check_may_moderate(request.user)
    page = Paginator(doubles(), A_PAGE).get_page(request.GET.get("page"))
    items = [item for pair in page.object_list for item in (pair.first, pair.second)]
    counted = catalogue.reports_naming(items)
    context = {
        "page": page,
        "pairs": [(pair, counted[pair.first], counted[pair.second]) for pair in page.object_list],
        "proposals": [(item, item._meta.model_name) for item in catalogue.proposals()],
        "merges": catalogue.merges()[:A_PAGE],
    }
    return render(request, "pages/review_catalogue.html", context)


@login_required
@require_POST
def list_gear(request: HttpRequest) -> HttpResponse:
    """Take a proposal into the catalogue."""
    item = acts.list_gear(item=_named(request, "slug"), by=request.user)
    messages.success(request, f"{item} is listed.")
    return redirect("review-catalogue")


@login_required
@require_POST
def refuse(request: HttpRequest) -> HttpResponse:
    """Take a proposal out of the catalogue that nothing names."""
    item = _named(request, "slug")
    refuse_gear(item=item, by=request.user, reason=request.POST.get("reason", ""))
    messages.success(request, f"{item} is refused; the event log keeps what it said.")
    return redirect("review-catalogue")


@login_required
@require_POST
def doubles_settled(request: HttpRequest) -> HttpResponse:
    """Make two rows one, or say that they are two."""
    first, second = _named(request, "first"), _named(request, "second")
    choices: dict[str, Callable[[], str]] = {
        "first": lambda: _merged(request, second, first),
        "second": lambda: _merged(request, first, second),
        "apart": lambda: _apart(request, first, second),
    }
    act = request.POST.get("act", "")
    if act not in choices:
        raise InvalidInput(
            Problem(
                code="not-a-choice",
                field="act",
                value=act,
                says="It is not said which of the two to keep.",
                remedy="Choose one of the buttons.",
            )
        )
    messages.success(request, choices[act]())
    return redirect("review-catalogue")


@login_required
@require_POST
def take_back(request: HttpRequest, number: int) -> HttpResponse:
    """Make two of a merge again."""
    item = acts.part_doubles(merge=catalogue.merge_by_number(number), by=request.user)
    messages.success(request, f"{item} is a row of its own again, with all that was its own.")
    return redirect("review-catalogue")


@require_safe
def history(request: HttpRequest, kind: str, slug: str) -> HttpResponse:
    """What happened to one piece of gear: public."""
    item = gear_by_slug(kind if kind in MODELS else GearKind.LENS, slug)
    context = {
        "item": item,
        "kind": item._meta.model_name,
        "steps": catalogue.history_of_gear(item),
        "former": former_slugs(item),
        "sources": sources_of(item).select_related("added_by"),
    }
    return render(request, "pages/gear_history.html", context)


def _named(request: HttpRequest, field: str) -> GearItem:
    kind = request.POST.get("kind", "")
    if kind not in MODELS:
        raise InvalidInput(
            Problem(
                code="not-a-choice",
                field="kind",
                value=kind[:40],
                says=f"“{kind[:40]}” is no kind of gear.",
                remedy=f"Use one of: {', '.join(MODELS)}.",
            )
        )
    return gear_by_slug(kind, request.POST.get(field, "")[:140], field=field)


def _merged(request: HttpRequest, double: GearItem, into: GearItem) -> str:
    acts.merge_doubles(double=double, into=into, by=request.user, reason=request.POST.get("reason", ""))
    return f"{double} is {into} now; its address leads there. It can be taken back below."


def _apart(request: HttpRequest, first: GearItem, second: GearItem) -> str:
    acts.tell_apart(one=first, other=second, by=request.user)
    return f"{first} and {second} stay two; nobody is asked again."
