"""The way a report is filed: start → frames (frames.py) → check → submit. Each page can be left and come back to."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import redirect_to_login
from django.core.validators import slug_re
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from registry.errors import CleanstopError
from registry.gear.queries import find_lenses
from registry.pages.forms.check import FindingsForm, FrameForm
from registry.pages.forms.report import FIELD_NAMES, NEW_RIG, StartForm, bodies_to_suggest
from registry.pages.problems import put_beside_fields
from registry.pages.views.drafts import draft_address, draft_or_elsewhere, only_by_post, own_draft
from registry.pages.views.waiting import address_after
from registry.photometry.measurement import Measurement
from registry.reports import queries, services
from registry.reports.models import Basis, Report, SampleImage
from registry.reports.rules.submission import check_submission

# Gear that can be added on the way: the start form's field that holds its name.
ADDED_NAMES = {"lens": "lens_name", "body": "body", "filter": ""}
TYPED = "typed-report"  # session key of a start form sent by someone whose sign-in had run out


@dataclass(frozen=True)
class FrameToCheck:
    """A frame, the form that corrects it, and what was measured in it."""

    image: SampleImage
    form: FrameForm
    shown: Measurement | None


@require_http_methods(["GET", "POST"])
def start(request: HttpRequest) -> HttpResponse:
    """What was tested, with what. A form sent after the sign-in ran out is kept until they are back."""
    if not request.user.is_authenticated:
        if request.method == "POST":
            request.session[TYPED] = request.POST.urlencode()
        return redirect_to_login(request.get_full_path())
    if request.method == "POST":
        if (kind := request.POST.get("add")) in ADDED_NAMES:
            request.session[TYPED] = request.POST.urlencode()
            name = request.POST.get(ADDED_NAMES[kind], "")
            return redirect(f"{reverse(f'propose-{kind}')}?{urlencode({'name': name})}")
        if "plan" in request.POST:
            request.session[TYPED] = request.POST.urlencode()
            return redirect(_shot_list_address(request.POST))
        form = StartForm(request.POST, author=request.user)
        if form.is_valid() and (report := _started(form, request)):
            return redirect(draft_address(report))
        return _start_page(request, form, status=422)
    planned = StartForm.planned(request.GET.dict(), request.user)
    if kept := request.session.pop(TYPED, None):
        typed = QueryDict(kept, mutable=True)
        typed.update({name: value for name, value in planned.initial.items() if value})
        return _start_page(request, StartForm(typed, author=request.user))
    return _start_page(request, planned)


def _shot_list_address(typed: QueryDict) -> str:
    """Where the shot list of what was typed is; without a lens of the catalogue, where one is chosen."""
    rig = typed.get("rig", "")
    described = {name: typed.get(name, "") for name in ("conversion", "cut_on_nm")}
    camera = {"rig": rig} if rig not in ("", NEW_RIG) else described
    said = camera | {name: typed.get(name, "") for name in ("filter", "teleconverter", "adapter")}
    if slug_re.fullmatch(slug := typed.get("lens", "")):
        return f"{reverse('shot-list', args=[slug])}?{urlencode(said)}"
    return f"{reverse('shot-lists')}?{urlencode({'lens_name': typed.get('lens_name', '')})}"


def _started(form: StartForm, request: HttpRequest) -> Report | None:
    try:
        return services.start_draft(author=request.user, **form.details())
    except CleanstopError as error:
        put_beside_fields(form, error, FIELD_NAMES)
        return None


@login_required
@require_http_methods(["GET", "POST"])
def details(request: HttpRequest, public_id: str) -> HttpResponse:
    """Correct what a draft says was tested, with what."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    if elsewhere:
        return elsewhere
    if report.basis == Basis.RELAYED:
        return redirect("report-relayed", public_id)
    if request.method == "GET":
        return _start_page(request, StartForm.of(report), report=report)
    form = StartForm(request.POST, author=request.user)
    if form.is_valid():
        try:
            services.change_draft(report=report, by=request.user, **form.details())
            said = report.images.exists() or report.sweeps.exists()
            return redirect("report-check", public_id) if said else redirect(draft_address(report))
        except CleanstopError as error:
            put_beside_fields(form, error, FIELD_NAMES)
    return _start_page(request, form, report=report, status=422)


def _start_page(
    request: HttpRequest, form: StartForm, *, report: Report | None = None, status: int = 200
) -> HttpResponse:
    typed = (form["lens_name"].value() or "").strip()
    context = {
        "form": form,
        "bodies": bodies_to_suggest(),
        "typed": typed,
        "matches": find_lenses(typed, limit=5) if typed else [],
        "chosen": form["lens"].value(),
        "lens_unknown": "lens_name" in form.errors,
        "drafts": queries.drafts_of(request.user) if report is None else (),
        "report": report,
    }
    return render(request, "pages/report_start.html", context, status=status)


def suggest_lenses(request: HttpRequest) -> HttpResponse:
    """The nearest lenses to what is being typed, as choices of the start form."""
    typed = request.GET.get("lens_name", "").strip()[:160]
    matches = find_lenses(typed, limit=5) if typed else []
    context = {"typed": typed, "matches": matches, "chosen": "", "report": "listed" in request.GET}
    return render(request, "pages/lens_choices.html", context)


@login_required
def check(request: HttpRequest, public_id: str) -> HttpResponse:
    """What was measured, frame by frame, with the chance to correct it."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    return elsewhere or _check_page(request, report)


def _check_page(
    request: HttpRequest,
    report: Report,
    *,
    frame_forms: dict[str, FrameForm] | None = None,
    findings: FindingsForm | None = None,
    problems: tuple = (),
    status: int = 200,
) -> HttpResponse:
    progress = queries.progress(report)
    sweeps = queries.sweeps_shown(report)
    if not problems and (progress.arrived or sweeps or report.basis == Basis.RELAYED) and progress.done:
        problems = tuple(check_submission(report))
    forms = {image.public_id: FrameForm.of(image) for image in progress.images} | (frame_forms or {})
    graded = {finding.kind: finding.grade for finding in report.findings.all()}
    context = {
        "report": report,
        "progress": progress,
        "frames": [
            FrameToCheck(image, forms[image.public_id], queries.overlay_of(image))
            for image in progress.images
        ],
        "sweeps": sweeps,
        "claims": report.claims.all(),
        "findings": findings or FindingsForm(initial=graded),
        "problems": problems,
    }
    return render(request, "pages/report_check.html", context, status=status)


@login_required
@only_by_post("report-check")
def correct_frame(request: HttpRequest, public_id: str, image_id: str) -> HttpResponse:
    """Correct one frame's f-number or focal length, grade it by eye, or take it out."""
    report = own_draft(request, public_id)
    image = queries.image_of(report, image_id)
    back = f"{reverse('report-check', args=[public_id])}#frame-{image_id}"
    if "remove" in request.POST:
        services.remove_image(image=image, by=request.user)
        messages.info(request, f"{image.file_name} was taken out of the report.")
        return redirect(reverse("report-check", args=[public_id]))
    form = FrameForm.of(image, request.POST)
    if form.is_valid():
        try:
            services.correct_image(image=image, by=request.user, **form.changes())
            return redirect(back)
        except CleanstopError as error:
            put_beside_fields(form, error)
    return _check_page(request, report, frame_forms={image_id: form}, status=422)


@login_required
@only_by_post("report-check")
def submit(request: HttpRequest, public_id: str) -> HttpResponse:
    """Hand the report in, with the other traits graded on the check page."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    if elsewhere:
        return elsewhere
    findings = FindingsForm(request.POST)
    if not findings.is_valid():
        return _check_page(request, report, findings=findings, status=422)
    try:
        for kind, grade in findings.graded().items():
            services.enter_finding(report=report, by=request.user, kind=kind, grade=grade)
        report = services.submit_report(report=report, by=request.user, submit_when_measured=True)
    except CleanstopError as error:
        return _check_page(request, report, findings=findings, problems=error.problems, status=422)
    return redirect(address_after(report))


@login_required
@only_by_post("report-frames")
def discard(request: HttpRequest, public_id: str) -> HttpResponse:
    report = own_draft(request, public_id)
    lens = report.lens
    services.discard_draft(report=report, by=request.user)
    messages.info(request, f"The draft on {lens} was discarded with its frames.")
    return redirect("my-reports")
