"""Up to six lenses side by side at one cut-on; all of it stands in the address, so that it can be sent."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from registry.errors import InvalidInput, Problem
from registry.gear import queries as gear
from registry.gear.models import GearKind, Lens
from registry.pages import camera
from registry.pages.figures import common_scale
from registry.pages.forms.look_up import CameraForm
from registry.standings import queries as standings

MOST = 6
OFFERED = 6


@require_safe
def compare(request: HttpRequest) -> HttpResponse:
    """lens: slugs, in the order shown. add: a name as typed; what fits is added, or offered where that is not clear."""
    slugs = list(dict.fromkeys(slug for slug in request.GET.getlist("lens") if slug))
    if len(slugs) > MOST:
        raise InvalidInput(_too_many(slugs))
    form = CameraForm(request.GET)
    seen = camera.seen_through(request, form.asked())
    lenses = [gear.gear_by_slug(GearKind.LENS, slug) for slug in slugs]
    typed = request.GET.get("add", "").strip()[:160]
    offers = _offers(typed, slugs)
    if len(offers) == 1 and len(slugs) < MOST:
        return redirect(_address([*slugs, offers[0].slug], seen))
    rows = _rows(lenses, seen)
    context = {
        "rows": rows,
        "columns": [
            {"row": row, "without": _address([slug for slug in slugs if slug != row.lens.slug], seen)}
            for row in rows
        ],
        "scale": common_scale(row.ladder for row in rows),
        "seen": seen,
        "form": form,
        "typed": typed,
        "offers": [(lens, _address([*slugs, lens.slug], seen)) for lens in offers],
        "is_full": len(slugs) == MOST,
        "slugs": slugs,
    }
    return render(request, "pages/compare.html", context, status=200 if form.is_valid() else 422)


def _rows(lenses: list[Lens], seen: camera.Camera) -> list[standings.LensRow]:
    by_slug = {
        row.lens.slug: row
        for row in standings.lens_rows(
            Lens.objects.filter(pk__in=[lens.pk for lens in lenses]),
            cut_on_nm=seen.cut_on_nm,
            visible_ev=seen.visible_ev,
        )
    }
    return [by_slug[lens.slug] for lens in lenses]


def _offers(typed: str, slugs: list[str]) -> list[Lens]:
    """The lenses that a typed name may mean: one if its score stands out."""
    found = [match for match in gear.find_lenses(typed, limit=OFFERED) if match.lens.slug not in slugs]
    if len(found) > 1 and found[0].score > 0.95 > found[1].score:
        return [found[0].lens]
    return [match.lens for match in found]


def _address(slugs: list[str], seen: camera.Camera) -> str:
    asked = [("lens", slug) for slug in slugs] + [("cut_on_nm", f"{seen.cut_on_nm:g}")]
    if seen.own_tolerance:
        asked.append(("visible_ev", f"{seen.visible_ev:g}"))
    return f"{reverse('compare')}?{urlencode(asked)}"


def _too_many(slugs: list[str]) -> Problem:
    return Problem(
        code="too-many-to-compare",
        field="lens",
        value=slugs,
        says=f"{len(slugs)} lenses are more than stand side by side.",
        remedy=f"Take at most {MOST}: leave out those from “{slugs[MOST]}” on.",
    )
