"""Planning a test: which lens, with what; and the sheet to print and follow."""

from __future__ import annotations

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.accounts.models import Account
from registry.errors import InvalidInput
from registry.gear.models import GearKind, Lens
from registry.gear.queries import find_lenses, gear_by_slug
from registry.pages import camera
from registry.pages.forms.shot_list import PlanForm
from registry.pages.problems import put_beside_fields
from registry.reports.rules.planning import Plan, read_plan


@require_safe
def choose_lens(request: HttpRequest) -> HttpResponse:
    """Which lens is to be tested."""
    typed = request.GET.get("lens_name", "").strip()[:160]
    context = {"typed": typed, "matches": find_lenses(typed, limit=8) if typed else []}
    return render(request, "pages/shot_lists.html", context)


@require_safe
def shot_list(request: HttpRequest, slug: str) -> HttpResponse:
    """The shot list of a lens with the camera and filter in the address, or else the reader's own camera."""
    lens = gear_by_slug(GearKind.LENS, slug)
    author = request.user if request.user.is_authenticated else None
    form = PlanForm.asked(request.GET, author=author, remembered=camera.remembered(request))
    plan = _plan(form, lens, author)
    context = {"lens": lens, "form": form, "plan": plan, "shots": plan and plan.shot_list}
    if plan is not None:
        said = urlencode({"lens": lens.slug} | form.said())
        context |= {
            "start_address": f"{reverse('report-start')}?{said}",
            "json_address": f"{reverse('v1:shot-lists')}?{said}",
            "printed_address": request.get_host() + request.path,
        }
    return render(request, "pages/shot_list.html", context, status=200 if plan else 422)


def _plan(form: PlanForm, lens: Lens, author: Account | None) -> Plan | None:
    """What the form asks for; None, with the reasons beside its fields, where that can't be planned."""
    if not form.is_valid():
        return None
    try:
        return read_plan({"lens": lens, **form.plan()}, author)
    except InvalidInput as error:
        put_beside_fields(form, error)
        return None
