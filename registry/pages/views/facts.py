"""What the catalogue states of a lens, where that is from, and what it lacks."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from registry.errors import CleanstopError
from registry.gear.models import GearKind, Lens, Mount
from registry.gear.queries import gear_by_slug, mount_by_slug, sources_of
from registry.gear.rules import lacking_facts
from registry.gear.services import complete_facts
from registry.pages.forms.facts import LackingFactsForm
from registry.pages.problems import put_beside_fields
from registry.pages.templatetags.gear import facts_in_a_row
from registry.wanted.queries import lenses_lacking_facts

A_PAGE = 50


@require_safe
def missing_facts(request: HttpRequest) -> HttpResponse:
    """Lenses that lack facts, the most asked for first."""
    mount = request.GET.get("mount", "")
    if mount:
        mount_by_slug(mount)
    pages = Paginator(lenses_lacking_facts(mount=mount or None), A_PAGE)
    page = pages.get_page(request.GET.get("page"))
    rows = [(lens, lacking_facts(lens)) for lens in page]
    context = {"rows": rows, "page": page, "mounts": Mount.objects.all(), "mount": mount}
    return render(request, "pages/missing_facts.html", context)


@login_required
@require_http_methods(["GET", "POST"])
def lens_facts(request: HttpRequest, slug: str) -> HttpResponse:
    """Every fact about a lens with its sources, and a form for those that nobody stated."""
    lens = gear_by_slug(GearKind.LENS, slug)
    form = LackingFactsForm(request.POST or None, lens=lens)
    if request.method == "POST" and form.is_valid() and _completed(request, lens, form):
        return redirect("lens", lens.slug)
    context = {
        "lens": lens,
        "form": form,
        "lacking": lacking_facts(lens),
        "sources": sources_of(lens).select_related("added_by"),
    }
    return render(request, "pages/lens_lacking.html", context, status=422 if form.errors else 200)


def _completed(request: HttpRequest, lens: Lens, form: LackingFactsForm) -> bool:
    facts = form.facts()
    if not facts:
        form.add_error(None, "Nothing was filled in yet. Fill in what you know and leave the rest empty.")
        return False
    try:
        complete_facts(item=lens, facts=facts, source=form.cleaned_data["source"], by=request.user)
    except CleanstopError as error:
        put_beside_fields(form, error)
        return False
    told = facts_in_a_row(list(facts))
    messages.success(
        request, f"Thank you: {told} of the {lens} {'is' if len(facts) == 1 else 'are'} known now."
    )
    return True
