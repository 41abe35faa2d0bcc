"""Adding gear that the catalogue lacks."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from registry.errors import CleanstopError
from registry.gear import services
from registry.gear.models import Lens, Maker
from registry.gear.queries import find_lenses
from registry.pages.forms.gear import ProposeLensForm
from registry.pages.problems import put_beside_fields
from registry.pages.views.filing import TYPED


@login_required
@require_http_methods(["GET", "POST"])
def propose_lens(request: HttpRequest) -> HttpResponse:
    """Add a lens; whoever was filing a report goes on with it, its form as they left it."""
    name = request.GET.get("name", "").strip()[:120]
    form = (
        ProposeLensForm(request.POST) if request.method == "POST" else ProposeLensForm(initial=_guessed(name))
    )
    if request.method == "POST" and form.is_valid():
        try:
            added = services.propose_lens(by=request.user, **form.facts())
        except CleanstopError as error:
            put_beside_fields(form, error)
        else:
            messages.success(request, f"{added} is in the catalogue now; a moderator will look it over.")
            return _go_on(request, added)
    context = {
        "form": form,
        "makers": Maker.objects.values_list("name", flat=True),
        "near": [match.lens for match in find_lenses(name, limit=3)] if name else [],
        "filing": TYPED in request.session,
    }
    return render(request, "pages/propose_lens.html", context, status=422 if form.errors else 200)


def _guessed(name: str) -> dict[str, str]:
    """A known maker's name in front of what was typed goes into its own field."""
    first, _, rest = name.partition(" ")
    maker = Maker.objects.filter(name__iexact=first).first()
    return {"maker": maker.name, "name": rest} if maker else {"name": name}


def _go_on(request: HttpRequest, added: Lens) -> HttpResponse:
    if TYPED not in request.session:
        return redirect("lens", added.slug)
    typed = QueryDict(request.session[TYPED], mutable=True)
    typed["lens_name"], typed["lens"] = str(added), added.slug
    request.session[TYPED] = typed.urlencode()
    return redirect("report-start")
