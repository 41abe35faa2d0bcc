"""Adding gear that the catalogue lacks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from registry.errors import CleanstopError
from registry.gear import services
from registry.gear.models import GearItem, GearKind, Maker
from registry.gear.queries import find_gear, nearest_lenses
from registry.pages.forms.gear import ProposeBodyForm, ProposeFilterForm, ProposeForm, ProposeLensForm
from registry.pages.problems import put_beside_fields
from registry.pages.views.filing import TYPED


@dataclass(frozen=True)
class Proposing:
    """How one kind of gear is proposed. field: of the start form, that it fills when a report is being filed."""

    called: str
    form: type[ProposeForm]
    service: Callable[..., GearItem]
    field: str


KINDS = {
    GearKind.LENS: Proposing("lens", ProposeLensForm, services.propose_lens, "lens_name"),
    GearKind.BODY: Proposing("camera body", ProposeBodyForm, services.propose_body, "body"),
    GearKind.FILTER: Proposing("filter", ProposeFilterForm, services.propose_filter, "filter"),
}


@login_required
@require_http_methods(["GET", "POST"])
def propose(request: HttpRequest, kind: str) -> HttpResponse:
    """Add a piece of gear; whoever was filing a report goes on with it, its form as they left it."""
    proposing = KINDS[kind]
    name = request.GET.get("name", "").strip()[:120]
    form = (
        proposing.form(request.POST) if request.method == "POST" else proposing.form(initial=_guessed(name))
    )
    if request.method == "POST" and form.is_valid():
        try:
            added = proposing.service(by=request.user, **form.facts())
        except CleanstopError as error:
            put_beside_fields(form, error)
        else:
            messages.success(request, f"{added} is in the catalogue now; a moderator will look it over.")
            return _go_on(request, kind, added)
    context = {
        "form": form,
        "called": proposing.called,
        "kind": kind,
        "makers": Maker.objects.values_list("name", flat=True),
        "near": _near(kind, name) if name else [],
        "filing": TYPED in request.session,
    }
    return render(request, "pages/propose.html", context, status=422 if form.errors else 200)


def _guessed(name: str) -> dict[str, str]:
    """A known maker's name in front of what was typed goes into its own field."""
    first, _, rest = name.partition(" ")
    maker = Maker.objects.filter(name__iexact=first).first()
    return {"maker": maker.name, "name": rest} if maker else {"name": name}


def _near(kind: str, name: str) -> list[GearItem]:
    return nearest_lenses(name) if kind == GearKind.LENS else find_gear(kind, name, limit=3)


def _go_on(request: HttpRequest, kind: str, added: GearItem) -> HttpResponse:
    if TYPED not in request.session:
        return redirect("lens", added.slug) if kind == GearKind.LENS else redirect("report-start")
    typed = QueryDict(request.session[TYPED], mutable=True)
    typed[KINDS[kind].field] = added.slug if kind == GearKind.FILTER else str(added)
    if kind == GearKind.LENS:
        typed["lens"] = added.slug
    request.session[TYPED] = typed.urlencode()
    return redirect("report-start")
