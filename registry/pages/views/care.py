"""Flagging what may be wrong; and appealing against what was decided about oneself."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from registry.errors import CleanstopError
from registry.moderation.queries.care import (
    appeals_past,
    block_by_number,
    hidden_picture,
    restrictions_of,
    voice_by_number,
)
from registry.moderation.services.appeals import appeal
from registry.moderation.services.flags import raise_flag
from registry.pages.forms.care import AppealForm, FlagForm
from registry.pages.problems import put_beside_fields
from registry.reports import queries
from registry.reports.rules.newcomers import may_confirm
from registry.reports.services.confirming import confirm_report

A_PAGE = 50


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def flag(request: HttpRequest, public_id: str) -> HttpResponse:
    """Ask moderators to look at a report, or at one picture of it."""
    report = queries.report_for(public_id, request.user)
    images = list(report.images.exclude(picture="").order_by("id"))
    form = FlagForm(request.POST or None, images=images, initial={"image": request.GET.get("picture", "")})
    if request.method == "POST" and form.is_valid():
        sent = form.cleaned_data
        image = next((one for one in images if one.public_id == sent["image"]), None)
        try:
            made = raise_flag(
                by=request.user,
                report=report,
                image=image,
                reason_code=sent["reason_code"],
                says=sent["says"],
            )
        except CleanstopError as error:
            put_beside_fields(form, error)
        else:
            hidden = " The picture is hidden until then." if made.hid else ""
            messages.success(request, f"Thank you: a moderator will look at it.{hidden}")
            return redirect("report", public_id)
    context = {"report": report, "form": form}
    return render(request, "pages/report_flag.html", context, status=422 if form.errors else 200)


@login_required
@require_http_methods(["GET", "HEAD", "POST"])
def appeals(request: HttpRequest) -> HttpResponse:
    """What was decided about one's account and pictures, with a box to appeal in; answers to earlier appeals."""
    form, status = AppealForm(request.POST or None), 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                appeal(by=request.user, says=form.cleaned_data["says"], **_about(request))
            except CleanstopError as error:
                put_beside_fields(form, error)
            else:
                messages.success(request, "Sent: another moderator reads it. The answer comes on this page.")
                return redirect("my-appeals")
    restrictions = restrictions_of(request.user)
    shown = {appeal.pk for one in restrictions for appeal in one.appeals}
    context = {
        "restrictions": restrictions,
        "past": [one for one in appeals_past(request.user) if one.pk not in shown],
        "form": form,
        "sent": request.POST.get("about"),
    }
    return render(request, "pages/my_appeals.html", context, status=status)


@login_required
@require_safe
def waiting_reports(request: HttpRequest) -> HttpResponse:
    """Newcomers' reports that wait for one confirmation, for whoever may give it."""
    page = Paginator(queries.reports_waiting(), A_PAGE).get_page(request.GET.get("page"))
    rows = [(report, may_confirm(request.user, report)) for report in page.object_list]
    return render(request, "pages/waiting_reports.html", {"page": page, "rows": rows})


@login_required
@require_POST
def confirm(request: HttpRequest, public_id: str) -> HttpResponse:
    """Say that a newcomer's report reads like a test."""
    report = confirm_report(report=queries.report_for(public_id, request.user), by=request.user)
    messages.success(request, f"Confirmed: report {report.public_id} counts now.")
    return redirect("report", public_id)


def _about(request: HttpRequest) -> dict:
    """What the appeal is about; one's own block, voice or picture."""
    kind, _, number = request.POST.get("about", "").partition(":")
    number = int(number) if number.isascii() and number.isdigit() and len(number) < 19 else 0
    if kind == "block":
        return {"block": block_by_number(number)}
    if kind == "voice":
        return {"voice": voice_by_number(number)}
    return {"image": hidden_picture(request.user, number)}
