"""One lens: its verdict at the reader's cut-on first, then everything that stands behind it.

What is the same for all readers is made once per state of the lens and kept; see registry.pages.kept.
"""

from __future__ import annotations

from django.conf import settings
from django.core.paginator import Paginator
from django.db.models import Count, Max, OuterRef
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from registry.consensus.cells import cut_on_band
from registry.gear import queries as gear
from registry.gear.models import GearKind, Lens
from registry.pages import camera
from registry.pages.figures import common_scale
from registry.pages.forms.look_up import CameraForm
from registry.pages.kept import kept, kept_page
from registry.pages.views.lens_parts import lens_context, reports_told
from registry.pages.views.waiting import waiting_for
from registry.picks.models import Pick
from registry.publishing.queries import release_by_version
from registry.reports.queries import reports_on
from registry.standings import queries as standings

GLASS = {"teleconverter": GearKind.TELECONVERTER, "adapter": GearKind.ADAPTER}
ASKED = ("cut_on_nm", "visible_ev", "mount", *GLASS)
REPORTS_A_PAGE = 40
NOTHING = '<section id="instead"></section>'


PAGE_STAMP = standings.StampStatement(
    lambda: (
        *standings.catalogue_figures(),
        standings.figure_of(Pick.objects.filter(lens=OuterRef("pk")), Count("pk")),
        standings.figure_of(Pick.objects.filter(lens=OuterRef("pk")), Max("pick_list__updated_at")),
    )
)


@require_safe
def lens(request: HttpRequest, slug: str) -> HttpResponse:
    """The page. For whoever is not signed in it rests on one short statement, as long as nothing changed."""
    if version := request.GET.get("release"):
        return _as_released(request, version, slug)
    stamp = PAGE_STAMP.of(slug)
    if stamp is None:
        gear.gear_by_slug(GearKind.LENS, slug)  # says what was meant
    return kept_page(request, (stamp,), lambda: _page(request, slug, stamp))


def _as_released(request: HttpRequest, version: str, slug: str) -> HttpResponse:
    """The same question to a release, at its permanent address."""
    question = request.GET.copy()
    del question["release"]
    address = reverse("lens-in-release", args=[release_by_version(version).version, slug])
    return redirect(f"{address}?{question.urlencode()}" if question else address)


def _page(request: HttpRequest, slug: str, stamp: standings.LensStamp) -> HttpResponse:
    asked = tuple((name, request.GET[name]) for name in ASKED if name in request.GET)
    state = ("lens", slug, stamp.text, camera.remembered(request), asked)
    parts = _parts(request, slug, state)
    instead = (
        kept(("instead", stamp.more, *state), lambda: _instead(slug, parts)) if parts["lacks"] else NOTHING
    )
    context = {"parts": parts, "lens": parts["lens"], "instead": instead}
    return render(request, "pages/lens.html", context, status=parts["status"])


def _parts(request: HttpRequest, slug: str, state: tuple) -> dict:
    """The page's parts, kept unless the reader waits for a report of theirs or asked what can't be answered."""
    waits = "report" in request.GET and request.user.is_authenticated
    form = CameraForm(request.GET) if state[-1] else None
    if waits or (form and not form.is_valid()):
        return _made(request, slug, waits=waits)
    return kept(state, lambda: _made(request, slug))


def _made(request: HttpRequest, slug: str, *, waits: bool = False) -> dict:
    tested = gear.gear_by_slug(GearKind.LENS, slug)
    form = CameraForm(request.GET)
    seen = camera.seen_through(request, form.asked())
    # Asked before the standing is read: a refresh that ends in between then only costs one more look.
    waiting = waiting_for(request, tested) if waits else None
    answer = standings.lens_answer(
        tested, cut_on_nm=seen.cut_on_nm, visible_ev=seen.visible_ev, **glass_asked_for(request)
    )
    context = lens_context(answer, seen) | {"form": form, "waiting": waiting}
    lacks = standings.needs_alternatives(answer) and answer.path.is_bare
    return {
        "lens": tested,
        "title": str(tested),
        "oembed": f"{settings.PUBLIC_URL}{reverse('oembed')}?{urlencode({'url': context['address']})}",
        "description": f"{tested} at {seen.cut_on_nm:g} nm: {answer.sentence}.",
        "top": render_to_string("pages/lens_top.html", context),
        "ladders": render_to_string("pages/lens_ladders.html", context),
        "main": render_to_string("pages/lens_main.html", context),
        "status": 200 if form.is_valid() else 422,
        "seen": seen,
        "lacks": lacks,
    }


def glass_asked_for(request: HttpRequest) -> dict:
    """The teleconverter and adapter in the address; NotFound, with the nearest known, for an unknown one."""
    return {
        name: gear.gear_by_slug(kind, slug) for name, kind in GLASS.items() if (slug := request.GET.get(name))
    }


def _instead(slug: str, parts: dict) -> str:
    """Clean lenses that see the same, for one that is hot or unknown; they change with any lens's standing."""
    seen = parts["seen"]
    found = standings.instead_of(
        gear.gear_by_slug(GearKind.LENS, slug),
        mount=seen.mount,
        cut_on_nm=seen.cut_on_nm,
        group=cut_on_band(seen.cut_on_nm),
    )
    scale = common_scale(one.row.ladder for one in found)
    return render_to_string(
        "pages/lens_instead.html", {"found": found, "seen": seen, "slug": slug, "scale": scale}
    )


@require_safe
def reports(request: HttpRequest, slug: str) -> HttpResponse:
    """Every public report on a lens, through whatever glass, newest first."""
    tested: Lens = gear.gear_by_slug(GearKind.LENS, slug)
    every = reports_on(tested).prefetch_related("sweeps__readings", "claims")
    page = Paginator(every, REPORTS_A_PAGE).get_page(request.GET.get("page"))
    seen = camera.seen_through(request, CameraForm(request.GET).asked())
    context = {"lens": tested, "page": page, "told": reports_told(list(page), seen.visible_ev), "seen": seen}
    return render(request, "pages/lens_reports_all.html", context)
