"""Pages that explain: the method, and each kind of problem."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.consensus import constants
from registry.consensus.cells import BAND_LABELS, BANDS
from registry.pages.explanations import EXPLANATIONS, explanation_of


@require_safe
def method(request: HttpRequest) -> HttpResponse:
    """How the numbers are made. The numbers themselves come from where they are used."""
    ends = [*(low for low, _ in constants.GRADE_EV), None]
    names = ("no patch", "a trace, seen only when contrast is pushed", "visible", "obvious", "dominating")
    context = {
        "rules": constants,
        "grades": [
            {"grade": grade, "name": name, "low": ends[grade], "high": ends[grade + 1]}
            for grade, name in enumerate(names)
        ],
        "bands": [BAND_LABELS[band] for band in BANDS],
        "visible_percent": round(100 * (2**constants.VISIBLE_EV - 1)),
    }
    return render(request, "pages/method.html", context)


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
