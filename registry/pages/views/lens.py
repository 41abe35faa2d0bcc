"""One lens: its verdict at the reader's cut-on first, then everything that stands behind it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.consensus.constants import CAUSE_LIKELY
from registry.gear import queries as gear
from registry.gear.models import GearKind
from registry.pages import camera
from registry.pages.forms.look_up import CameraForm
from registry.reports.queries import reports_on
from registry.standings import queries as standings

CHANGES_SHOWN = 30


@require_safe
def lens(request: HttpRequest, slug: str) -> HttpResponse:
    tested = gear.gear_by_slug(GearKind.LENS, slug)
    form = CameraForm(request.GET)
    seen = camera.seen_through(request, form.asked())
    answer = standings.lens_answer(tested, cut_on_nm=seen.cut_on_nm, visible_ev=seen.visible_ev)
    # Reports with pictures come first: they can be judged by looking.
    reports = sorted(reports_on(tested), key=lambda report: not report.images.all())
    context = {
        "lens": tested,
        "answer": answer,
        "seen": seen,
        "form": form,
        "reports": reports,
        "conflicts": list(standings.open_conflicts(tested)),
        "likely": CAUSE_LIKELY,
        "history": standings.history_of(tested)[:CHANGES_SHOWN],
        "sources": gear.sources_of(tested),
    }
    return render(request, "pages/lens.html", context, status=200 if form.is_valid() else 422)
