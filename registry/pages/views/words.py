"""Pages that explain: the method, and each kind of problem."""

from __future__ import annotations

from functools import lru_cache

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.consensus import constants
from registry.consensus.assessment import assess_lens
from registry.consensus.cells import BAND_LABELS, BANDS
from registry.consensus.evidence import Lens, Reading, Report
from registry.consensus.sentences import verdict_words
from registry.pages import bench_figures
from registry.pages.explanations import EXPLANATIONS, explanation_of
from registry.standings.queries.priors import edition_in_force

PARTS = (
    ("excess", "Excess"),
    ("visible", "Visible threshold"),
    ("grades", "Grades by eye"),
    ("ladder", "Aperture ladder"),
    ("right", "How right it is"),
    ("verdict", "Verdict"),
    ("independent", "Independent reports"),
    ("groups", "Wavelengths and focal lengths"),
    ("causes", "Why reports differ"),
    ("agreement", "Agreement"),
    ("findings", "Other traits"),
    ("wanted", "Wanted tests"),
    ("shooting", "Shooting a test"),
    ("sources", "Sources"),
    ("privacy", "Your files"),
)
GRADE_NAMES = ("no patch", "a trace, seen only when contrast is pushed", "visible", "obvious", "dominating")


@require_safe
def method(request: HttpRequest) -> HttpResponse:
    """How the numbers are made. The numbers themselves come from where they are used, and from the benches."""
    ends = [*(low for low, _ in constants.GRADE_EV), None]
    edition = edition_in_force()
    context = {
        "parts": PARTS,
        "rules": constants,
        "grades": [
            {"grade": grade, "name": name, "low": ends[grade], "high": ends[grade + 1]}
            for grade, name in enumerate(GRADE_NAMES)
        ],
        "bands": [BAND_LABELS[band] for band in BANDS],
        "visible_percent": round(100 * (2**constants.VISIBLE_EV - 1)),
        "edition": edition.number if edition else None,
    }
    return render(request, "pages/method.html", context | _example() | bench_figures.for_method_page())


@lru_cache(maxsize=1)
def _example() -> dict:
    """The ladder that explains ladders: five graded sweeps of an invented lens, judged as any lens is."""
    lens = Lens(widest=2, narrowest=22, focal_min=50, focal_max=50)
    tested = (2, 2.8, 4, 5.6, 8, 11, 16)
    sweeps = [
        Report(
            str(number),
            f"tester {number}",
            cut_on_nm=720,
            focal_mm=50,
            method="visual",
            readings=tuple(Reading(stop, grade=0 if stop <= limit else 2) for stop in tested),
        )
        for number, limit in enumerate((8, 8, 8, 5.6, 5.6))
    ]
    (cell,) = assess_lens(lens, sweeps).cells
    stated = next(stop for stop in cell.stops if stop.f_number == cell.verdict.f_number)
    return {"example": cell, "example_words": verdict_words(cell.verdict), "example_at": stated}


@require_safe
def problems(request: HttpRequest) -> HttpResponse:
    return render(request, "pages/problems.html", {"explanations": EXPLANATIONS})


@require_safe
def problem(request: HttpRequest, code: str) -> HttpResponse:
    """What one kind of problem means; the address is the `type` of the API's problem documents."""
    explanation = explanation_of(code)
    if explanation is None:
        raise Http404(f"No kind of problem is called {code}.")
    return render(request, "pages/problem.html", {"code": code, "explanation": explanation})
