"""How a report begins: what was tested, with what. Then come frames (frames.py) and the check (check.py)."""

from __future__ import annotations

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
from registry.pages.forms.report import FIELD_NAMES, NEW_RIG, StartForm, bodies_to_suggest
from registry.pages.problems import put_beside_fields
from registry.pages.views.drafts import draft_address, draft_or_elsewhere, only_by_post, own_draft
from registry.reports import queries, services
from registry.reports.models import Basis, Report

# Gear that can be added on the way: the start form's field that holds its name.
ADDED_NAMES = {"lens": "lens_name", "body": "body", "filter": ""}
TYPED = "typed-report"  # session key of a start form sent by someone whose sign-in had run out


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
        form = StartForm.of(report)
        form.offer_lens(request.GET.get("lens", ""))
        return _start_page(request, form, report=report)
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
@only_by_post("report-frames")
def discard(request: HttpRequest, public_id: str) -> HttpResponse:
    report = own_draft(request, public_id)
    lens = report.lens
    services.discard_draft(report=report, by=request.user)
    messages.info(request, f"The draft on {lens} was discarded with its frames.")
    return redirect("my-reports")
