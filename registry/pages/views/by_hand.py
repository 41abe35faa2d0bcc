"""Reports without frames: stops graded by eye, and results that others have published."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from registry.errors import CleanstopError
from registry.gear.queries import find_lenses
from registry.pages.forms.check import GRADES
from registry.pages.forms.evidence import ClaimForm
from registry.pages.forms.grades import GradesForm
from registry.pages.forms.relay import RelayForm
from registry.pages.forms.report import FIELD_NAMES, bodies_to_suggest
from registry.pages.views.drafts import draft_or_elsewhere
from registry.reports import services
from registry.reports.models import Basis, Report, Sweep
from registry.standings.rules import path_of

CLAIMS = 3  # coarse statements that one relay form asks for; revising adds more


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


@dataclass(frozen=True)
class RelayForms:
    """The forms of one relay, together."""

    details: RelayForm
    claims: list[ClaimForm]

    @property
    def errors(self) -> bool:
        return any(form.errors for form in (self.details, *self.claims))

    def content(self) -> dict | None:
        """The relay as services.file_report takes it; None while a form holds errors of its own."""
        valid = [form.is_valid() for form in (self.details, *self.claims)]
        if not all(valid):
            return None
        return self.details.details() | {"claims": [form.content() for form in self._stated()]}

    def put_beside_fields(self, error: CleanstopError) -> None:
        stated = self._stated()
        for problem in error.problems:
            form, name = self.details, FIELD_NAMES.get(problem.field, problem.field)
            if problem.field.startswith("claims["):
                place, _, name = problem.field[len("claims[") :].partition("].")
                form = stated[int(place)]
            form.add_error(name if name in form.fields else None, str(problem))

    def _stated(self) -> list[ClaimForm]:
        return [form for form in self.claims if form.content()]


@login_required
@require_http_methods(["GET", "POST"])
def relay(request: HttpRequest) -> HttpResponse:
    """Pass on a published result, with its citation."""
    data = request.POST if request.method == "POST" else None
    initial = {"lens_name": request.GET.get("lens", "")[:160]}
    details = RelayForm(data) if data else RelayForm(initial=initial)
    forms = RelayForms(details, [ClaimForm.of(None, f"claim-{place}", data) for place in range(CLAIMS)])
    if data and (content := forms.content()) is not None:
        try:
            report = services.file_report(author=request.user, data=content, submit=False)
            return redirect("report-check", report.public_id)
        except CleanstopError as error:
            forms.put_beside_fields(error)
    return _relay_page(request, forms)


@login_required
@require_http_methods(["GET", "POST"])
def relayed(request: HttpRequest, public_id: str) -> HttpResponse:
    """Correct what a relay's draft says."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    if elsewhere:
        return elsewhere
    data = request.POST if request.method == "POST" else None
    claims = list(report.claims.all())
    rows = [*claims, *[None] * max(1, CLAIMS - len(claims))]
    forms = RelayForms(
        RelayForm.of(report, data),
        [ClaimForm.of(claim, f"claim-{place}", data) for place, claim in enumerate(rows)],
    )
    if data and (content := forms.content()) is not None:
        try:
            services.rewrite_draft(report=report, by=request.user, changes=content)
            return redirect("report-check", public_id)
        except CleanstopError as error:
            forms.put_beside_fields(error)
    return _relay_page(request, forms, report)


def _relay_page(request: HttpRequest, forms: RelayForms, report: Report | None = None) -> HttpResponse:
    typed = (forms.details["lens_name"].value() or "").strip()
    context = {
        "form": forms.details,
        "claims": forms.claims,
        "failed": forms.errors,
        "report": report,
        "typed": typed,
        "matches": find_lenses(typed, limit=5) if typed else [],
        "chosen": forms.details["lens"].value(),
        "bodies": bodies_to_suggest(),
        "add_lens": reverse("propose-lens"),
    }
    return render(request, "pages/report_relay.html", context, status=422 if forms.errors else 200)
