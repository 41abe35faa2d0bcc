"""Reports without frames: stops graded by eye, in a table."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from registry.errors import CleanstopError
from registry.pages.forms.check import GRADES
from registry.pages.forms.grades import GradesForm
from registry.pages.views.drafts import draft_or_elsewhere
from registry.reports import services
from registry.reports.models import Basis, Report, Sweep
from registry.standings.rules import path_of


@login_required
@require_http_methods(["GET", "POST"])
def grades(request: HttpRequest, public_id: str) -> HttpResponse:
    """A table of the lens's stops, each graded by eye against reference pictures; one focal length at a time."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    if elsewhere:
        return elsewhere
    asked = {"stops": path_of(report).ladder(), "ask_focal": _has_several_focal_lengths(report)}
    if request.method == "GET":
        return _grades_page(request, report, _graded_before(request, report, asked))
    form = GradesForm(request.POST, **asked)
    if form.is_valid() and _entered(form, report, request):
        messages.success(request, "The grades are kept.")
        again = "another" in request.POST and asked["ask_focal"]
        return redirect("report-grades" if again else "report-check", public_id)
    return _grades_page(request, report, form, status=422)


def _entered(form: GradesForm, report: Report, request: HttpRequest) -> bool:
    focal = form.cleaned_data.get("focal_length_mm") or None
    try:
        if report.basis == Basis.MEASURED and not report.images.exists():
            services.change_draft(report=report, by=request.user, basis=Basis.GRADED)
        services.enter_readings(
            report=report, by=request.user, focal_length_mm=focal, readings=form.readings()
        )
    except CleanstopError as error:
        for problem in error.problems:
            name = form.field_of(problem.field)
            form.add_error(name if name in form.fields else None, str(problem))
        return False
    return True


def _graded_before(request: HttpRequest, report: Report, asked: dict) -> GradesForm:
    """What was graded at the focal length in the address; a lens with one only needs none."""
    typed = _typed_sweeps(report)
    named = request.GET.get("focal", "")
    sweep = next(
        (one for one in typed if f"{one.focal_length_mm:g}" == named or not asked["ask_focal"]), None
    )
    if sweep is None:
        return GradesForm(**asked)
    readings = [row for row in sweep.readings.all() if row.image_id is None and row.grade is not None]
    return GradesForm.of(readings, focal_length_mm=sweep.focal_length_mm, **asked)


def _grades_page(request: HttpRequest, report: Report, form: GradesForm, status: int = 200) -> HttpResponse:
    context = {"report": report, "form": form, "grades": GRADES, "sweeps": _typed_sweeps(report)}
    return render(request, "pages/report_grades.html", context, status=status)


def _has_several_focal_lengths(report: Report) -> bool:
    return report.lens.is_zoom or report.teleconverter_id is not None


def _typed_sweeps(report: Report) -> list[Sweep]:
    sweeps = report.sweeps.filter(readings__image=None).distinct()
    return list(sweeps.prefetch_related("readings"))
