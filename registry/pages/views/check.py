"""Checking a draft: what was measured beside what its author says, then handing it in."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from registry.consensus.constants import VISIBLE_EV
from registry.errors import CleanstopError, InvalidInput
from registry.pages.forms.check import GRADES, FindingsForm, FrameForm
from registry.pages.forms.summary import SummaryForm
from registry.pages.problems import put_beside_fields
from registry.pages.views.drafts import draft_or_elsewhere, only_by_post, own_draft
from registry.pages.views.waiting import address_after
from registry.photometry.measurement import Measurement
from registry.reports import queries, services
from registry.reports.models import Basis, ImagePurpose, ImageState, OwnSummary, Report, SampleImage
from registry.reports.rules.stops import sweep_focal_length
from registry.reports.rules.submission import check_submission
from registry.reports.rules.summary import contradictions_of
from registry.standings.queries import result_in_words, sayings_of

CONTRADICTED = "summary-contradicts-measurement"


@dataclass(frozen=True)
class FrameToCheck:
    """A frame, the form that corrects it, and what was measured in it."""

    image: SampleImage
    form: FrameForm
    shown: Measurement | None

    @property
    def needs_grade(self) -> bool:
        """Whether only an eye can judge it."""
        return self.image.state == ImageState.REJECTED and self.image.purpose == ImagePurpose.TARGET

    @property
    def grade_here(self) -> bool:
        """Whether it can be graded by eye beside its measurement."""
        return self.image.purpose == ImagePurpose.TARGET and not self.needs_grade


@dataclass(frozen=True)
class SweepToCheck:
    """The frames at one focal length, None where it is not known; their sweep once there are readings."""

    focal_length_mm: float | None
    sweep: queries.SweepShown | None
    frames: list[FrameToCheck] = field(default_factory=list)


@dataclass(frozen=True)
class Typed:
    """What was sent and could not be taken as it is, to be shown again."""

    frame_forms: dict[str, FrameForm] = field(default_factory=dict)
    findings: FindingsForm | None = None
    summary: SummaryForm | None = None
    problems: tuple = ()


@login_required
def check(request: HttpRequest, public_id: str) -> HttpResponse:
    """What was measured, sweep by sweep and frame by frame, with the chance to correct it."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    return elsewhere or _check_page(request, report)


@login_required
@only_by_post("report-check")
def correct_frame(request: HttpRequest, public_id: str, image_id: str) -> HttpResponse:
    """Correct one frame's f-number or focal length, grade it by eye, or take it out."""
    report = own_draft(request, public_id)
    image = queries.image_of(report, image_id)
    if "remove" in request.POST:
        services.remove_image(image=image, by=request.user)
        messages.info(request, f"{image.file_name} was taken out of the report.")
        return redirect("report-check", public_id)
    form = FrameForm.of(image, request.POST)
    if form.is_valid():
        try:
            services.correct_image(image=image, by=request.user, **form.changes())
            return redirect(f"{reverse('report-check', args=[public_id])}#frame-{image_id}")
        except CleanstopError as error:
            put_beside_fields(form, error)
    return _check_page(request, report, Typed(frame_forms={image_id: form}), status=422)


@login_required
@only_by_post("report-check")
def grade_frames(request: HttpRequest, public_id: str) -> HttpResponse:
    """Grade by eye what could not be measured, all frames at once."""
    report = own_draft(request, public_id)
    sent = {image: request.POST.get(f"grade-{image.public_id}") for image in report.images.all()}
    grades = {image: grade for image, grade in sent.items() if grade is not None}
    corrections = {image.public_id: {"grade": grade or None} for image, grade in grades.items()}
    try:
        services.correct_images(report=report, by=request.user, corrections=corrections)
    except InvalidInput as error:
        typed = {image.public_id: FrameForm.graded(image, grade) for image, grade in grades.items()}
        return _check_page(request, report, Typed(frame_forms=typed, problems=error.problems), status=422)
    return redirect(f"{reverse('report-check', args=[public_id])}#refused")


@login_required
@only_by_post("report-check")
def submit(request: HttpRequest, public_id: str) -> HttpResponse:
    """Keep the summary and the other traits; then hand the report in, unless they were only to be kept."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    if elsewhere:
        return elsewhere
    typed = Typed(findings=FindingsForm(request.POST), summary=SummaryForm(request.POST))
    if not all([typed.findings.is_valid(), typed.summary.is_valid(), _said(report, request, typed.summary)]):
        return _check_page(request, report, typed, status=422)
    try:
        for kind, grade in typed.findings.graded().items():
            services.enter_finding(report=report, by=request.user, kind=kind, grade=grade)
        if "keep" in request.POST:
            return redirect(f"{reverse('report-check', args=[public_id])}#summary")
        report = services.submit_report(report=report, by=request.user, submit_when_measured=True)
    except CleanstopError as error:
        again = Typed(findings=typed.findings, summary=typed.summary, problems=error.problems)
        return _check_page(request, report, again, status=422)
    return redirect(address_after(report))


def _said(report: Report, request: HttpRequest, form: SummaryForm) -> bool:
    """Keep what the form says; False, with the reason beside its field, where it can't be kept."""
    try:
        summary = services.say_summary(report=report, by=request.user, **form.said())
        stands, answer = form.cleaned_data["stands"], form.cleaned_data["answer"]
        if summary is not None and (stands or summary.stands):
            services.stand_by_summary(report=report, by=request.user, stands=stands, answer=answer)
    except InvalidInput as error:
        put_beside_fields(form, error)
        return False
    return True


def _check_page(
    request: HttpRequest, report: Report, typed: Typed | None = None, status: int = 200
) -> HttpResponse:
    typed = typed or Typed()
    progress = queries.progress(report)
    sweeps = queries.sweeps_shown(report)
    problems = typed.problems
    if not problems and (progress.arrived or sweeps or report.basis == Basis.RELAYED) and progress.done:
        problems = tuple(check_submission(report))
    summary = OwnSummary.objects.filter(report=report).first()
    frames = [_to_check(image, typed) for image in progress.images]
    context = {
        "report": report,
        "progress": progress,
        "frames": frames,
        "refused": [frame for frame in frames if frame.needs_grade],
        "sweeps": _by_focal_length(report, sweeps, frames),
        "claims": report.claims.all(),
        "findings": typed.findings or FindingsForm(initial=_graded_traits(report)),
        "summary": summary,
        "summary_form": typed.summary or SummaryForm.of(summary),
        "contradictions": contradictions_of(report, summary),
        "measured_words": result_in_words(report, sayings_of([report])) if sweeps and progress.done else "",
        "problems": [problem for problem in problems if problem.code != CONTRADICTED],
        "contradicted": any(problem.code == CONTRADICTED for problem in problems),
        "grades": GRADES,
        "visible_ev": VISIBLE_EV,
    }
    return render(request, "pages/report_check.html", context, status=status)


def _to_check(image: SampleImage, typed: Typed) -> FrameToCheck:
    form = typed.frame_forms.get(image.public_id) or FrameForm.of(image)
    return FrameToCheck(image, form, queries.overlay_of(image))


def _by_focal_length(
    report: Report, sweeps: list[queries.SweepShown], frames: list[FrameToCheck]
) -> list[SweepToCheck]:
    """Target frames under their sweeps, shortest focal length first; those without one last."""
    shown = {one.sweep.focal_length_mm: SweepToCheck(one.sweep.focal_length_mm, one) for one in sweeps}
    for frame in frames:
        if frame.image.purpose == ImagePurpose.TARGET:
            focal = sweep_focal_length(report.lens, frame.image.focal_length_mm)
            shown.setdefault(focal, SweepToCheck(focal, None)).frames.append(frame)
    return sorted(
        shown.values(), key=lambda sweep: (sweep.focal_length_mm is None, sweep.focal_length_mm or 0)
    )


def _graded_traits(report: Report) -> dict[str, int]:
    return {finding.kind: finding.grade for finding in report.findings.all()}
