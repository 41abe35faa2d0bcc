"""The frames of a draft: announced, dropped, sent, and listed with what became of each."""

from __future__ import annotations

import json
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from registry.errors import CleanstopError, InvalidInput, Problem, TooLarge, Unreadable
from registry.pages.forms.shot_list import PlanForm
from registry.pages.views.drafts import draft_or_elsewhere, only_by_post, own_draft
from registry.reports import queries, services
from registry.reports.models import Report
from registry.reports.rules.planning import missing_of_report
from registry.reports.rules.shooting_order import in_shooting_order
from registry.reports.rules.sorting import sort_frames
from registry.shotlists.missing import CONTROL, PROOF, Missing


@login_required
@require_http_methods(["GET", "POST"])
def frames(request: HttpRequest, public_id: str) -> HttpResponse:
    """Drop frames. Each file stands for itself: one that is refused leaves the others."""
    report, elsewhere = draft_or_elsewhere(request, public_id)
    if elsewhere:
        return elsewhere
    refused = _take_frames(request, report) if request.method == "POST" else []
    if request.htmx or request.headers.get("X-One-Frame"):
        return render(request, "pages/refused.html", {"refused": refused}, status=422 if refused else 200)
    if request.method == "POST" and not refused:
        return redirect("report-frames", public_id)
    context = arrivals_of(report) | {"refused": refused, "shot_list": PlanForm.address_of(report)}
    return render(request, "pages/report_frames.html", context, status=422 if refused else 200)


def _take_frames(request: HttpRequest, report: Report) -> list[dict]:
    refused = []
    for file in request.FILES.getlist("frames"):
        try:
            services.add_frame(report=report, by=request.user, file=file)
        except CleanstopError as error:
            refused.append({"name": file.name, "problems": error.problems})
            if isinstance(error, Unreadable | TooLarge):
                services.turn_away(
                    report=report, by=request.user, name=file.name, byte_size=file.size, error=error
                )
    return refused


@login_required
@only_by_post("report-frames")
def announce(request: HttpRequest, public_id: str) -> HttpResponse:
    """The files that a browser is about to send, as JSON; answers with those that are here already."""
    report = own_draft(request, public_id)
    try:
        files = _announced_in(request)
        answers = services.announce_frames(report=report, by=request.user, files=files)
    except CleanstopError as error:
        said = [{"says": problem.says, "remedy": problem.remedy} for problem in error.problems]
        return JsonResponse({"problems": said}, status=422)
    here = [answer.file for answer in answers if answer.image is not None]
    return JsonResponse({"here": [file.content_hash or f"{file.name} {file.byte_size}" for file in here]})


def _announced_in(request: HttpRequest) -> Any:
    try:
        return json.loads(request.body)["files"]
    except (ValueError, KeyError, TypeError) as error:
        raise InvalidInput(
            Problem(
                code="malformed-body",
                field="files",
                says="The list of files could not be read.",
                remedy="Reload the page and drop the frames again.",
            )
        ) from error


@login_required
@only_by_post("report-frames")
def stop_awaiting(request: HttpRequest, public_id: str) -> HttpResponse:
    """Forget the announced files that have not arrived."""
    report = own_draft(request, public_id)
    services.stop_awaiting(report=report, by=request.user)
    messages.info(request, "The files that had not arrived are no longer waited for.")
    return redirect("report-frames", public_id)


@login_required
def frames_state(request: HttpRequest, public_id: str) -> HttpResponse:
    """The list of frames with their state, asked for again and again while some are being measured."""
    return render(request, "pages/arrivals.html", arrivals_of(own_draft(request, public_id)))


def arrivals_of(report: Report) -> dict[str, Any]:
    """What the list of arrived frames shows: each with its state, sorted into sweeps, and what is amiss."""
    progress = queries.progress(report)
    sorting = sort_frames(report, progress.images)
    return {
        "report": report,
        "progress": progress,
        "sorting": sorting,
        "apart": {frame.pk: one.of_a_frame for one in sorting.apart for frame in one.frames},
        "in_order": in_shooting_order(progress.images),
        "missing": _by_place(missing_of_report(report, progress.images)) if sorting.sweeps else [],
    }


def _by_place(missing: tuple[Missing, ...]) -> list[tuple[float | None, list[str]]]:
    """What is missing in words, by focal length; what belongs to none comes last."""
    places: dict[float | None, list[str]] = {}
    for shot in sorted(missing, key=lambda shot: shot.focal_length_mm or float("inf")):
        places.setdefault(shot.focal_length_mm, []).append(_missing_words(shot))
    return list(places.items())


def _missing_words(shot: Missing) -> str:
    if shot.purpose == PROOF:
        return "a proof picture of a real scene"
    if shot.purpose == CONTROL:
        return "a control in visible light"
    more = f" ({shot.frames} more)" if shot.frames > 1 else ""
    return f"f/{shot.f_number:g}{more}"
