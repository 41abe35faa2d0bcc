"""One lens: its verdict at the reader's cut-on first, then everything that stands behind it."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.consensus.constants import VISIBLE_EV
from registry.gear import queries as gear
from registry.gear.models import GearKind, Lens
from registry.pages import camera
from registry.pages.forms.look_up import CameraForm
from registry.pages.views.waiting import waiting_for
from registry.reports.models import Report
from registry.reports.queries import reports_on
from registry.standings import queries as standings
from registry.standings.models import Conflict
from registry.standings.rules import LightPath, path_of

CHANGES_SHOWN = 30
GLASS = {"teleconverter": GearKind.TELECONVERTER, "adapter": GearKind.ADAPTER}


@dataclass(frozen=True)
class ReportTold:
    """A report with its own result in words."""

    report: Report
    result: str


@dataclass(frozen=True)
class ConflictTold:
    """A conflict with its camps summed up, and what may explain it."""

    conflict: Conflict
    camps: list[standings.Camp]
    causes: list[standings.NamedCause]


@require_safe
def lens(request: HttpRequest, slug: str) -> HttpResponse:
    tested = gear.gear_by_slug(GearKind.LENS, slug)
    form = CameraForm(request.GET)
    seen = camera.seen_through(request, form.asked())
    # Asked before the standing is read: a refresh that ends in between then only costs one more look.
    waiting = waiting_for(request, tested)
    answer = standings.lens_answer(
        tested, cut_on_nm=seen.cut_on_nm, visible_ev=seen.visible_ev, **_glass_asked_for(request)
    )
    paths = standings.paths_of(tested, cut_on_nm=seen.cut_on_nm)
    reports = _reports_through(tested, answer.path)
    sayings = standings.sayings_of(reports, seen.visible_ev)
    context = {
        "lens": tested,
        "answer": answer,
        "conditions": standings.conditions_of(answer),
        "paths": [path for path in paths if (path.teleconverter, path.adapter) != _glass_of(answer.path)],
        "seen": seen,
        "form": form,
        "reports": [ReportTold(report, standings.result_in_words(report, sayings)) for report in reports],
        "conflicts": _conflicts(answer.path, reports, sayings if seen.visible_ev == VISIBLE_EV else None),
        "history": standings.history_of(tested, path=answer.path)[:CHANGES_SHOWN],
        "sources": gear.sources_of(tested),
        "waiting": waiting,
    }
    return render(request, "pages/lens.html", context, status=200 if form.is_valid() else 422)


def _glass_asked_for(request: HttpRequest) -> dict:
    """The teleconverter and adapter in the address; NotFound, with the nearest known, for an unknown one."""
    return {
        name: gear.gear_by_slug(kind, slug) for name, kind in GLASS.items() if (slug := request.GET.get(name))
    }


def _glass_of(path: LightPath) -> tuple:
    return path.teleconverter, path.adapter


def _reports_through(tested: Lens, path: LightPath) -> list[Report]:
    """The reports on this light path; those with pictures first, since they can be judged by looking."""
    every = reports_on(tested).prefetch_related("sweeps__readings", "claims")
    mine = [report for report in every if path_of(report) == path]
    return sorted(mine, key=lambda report: not report.images.all())


def _conflicts(path: LightPath, reports: list[Report], sayings: dict | None) -> list[ConflictTold]:
    """The open conflicts of a path. sayings: of its reports at the tolerance that conflicts are told at, if known."""
    conflicts = list(standings.open_conflicts(path=path))
    if conflicts and sayings is None:
        sayings = standings.sayings_of(reports)
    return [
        ConflictTold(
            conflict,
            standings.camps_in_words(conflict.camps, sayings),
            standings.named_causes(conflict.explanations),
        )
        for conflict in conflicts
    ]
