"""Passing on results that others have published; a source that was passed on before is recognised."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from registry.accounts.models import Account
from registry.errors import CleanstopError
from registry.gear.queries import find_lenses
from registry.pages.forms.evidence import ClaimForm
from registry.pages.forms.relay import RelayForm, WhatIsNewForm
from registry.pages.forms.report import FIELD_NAMES, bodies_to_suggest
from registry.pages.views.drafts import draft_or_elsewhere
from registry.reports import services
from registry.reports.models import Report
from registry.reports.queries import relays_of_same_source
from registry.reports.services.contents import read_contents

CLAIMS = 3  # coarse statements that one relay form asks for; revising adds more


@dataclass
class RelayForms:
    """The forms of one relay, together. earlier: relays of the same source on the same lens, once they are known."""

    details: RelayForm
    claims: list[ClaimForm]
    new: WhatIsNewForm
    earlier: list[Report] = field(default_factory=list)

    @property
    def errors(self) -> bool:
        return any(form.errors for form in (self.details, *self.claims, self.new))

    def content(self) -> dict[str, Any] | None:
        """The relay as services.file_report takes it; None while a form holds errors of its own."""
        valid = [form.is_valid() for form in (self.details, *self.claims, self.new)]
        if not all(valid):
            return None
        return self.details.details() | {"claims": [form.content() for form in self._stated()]}

    def is_new(self, content: dict[str, Any], viewer: Account) -> bool:
        """Whether the source has not been passed on for this lens before, or it is said what this relay adds.

        What it adds is kept in the notes, with the report that it stands beside.
        """
        details = read_contents(content, viewer).details
        self.earlier = relays_of_same_source(
            details["lens"],
            address=details["citation_url"],
            title=details["citation_title"],
            viewer=viewer,
        )
        if not self.earlier:
            return True
        if not self.new.cleaned_data["adds"]:
            self.new.ask()
            return False
        beside = f"Beside report {self.earlier[0].public_id}: {self.new.cleaned_data['adds']}"
        content["notes"] = "\n".join(filter(None, (content["notes"], beside)))
        return True

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
    forms = RelayForms(
        RelayForm(data) if data else RelayForm(initial=initial),
        [ClaimForm.of(None, f"claim-{place}", data) for place in range(CLAIMS)],
        WhatIsNewForm(data),
    )
    if data and (content := forms.content()) is not None:
        try:
            if forms.is_new(content, request.user):
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
        WhatIsNewForm(data),
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
        "new": forms.new,
        "earlier": forms.earlier,
        "failed": forms.errors,
        "report": report,
        "typed": typed,
        "matches": find_lenses(typed, limit=5) if typed else [],
        "chosen": forms.details["lens"].value(),
        "bodies": bodies_to_suggest(),
        "add_lens": reverse("propose-lens"),
    }
    return render(request, "pages/report_relay.html", context, status=422 if forms.errors else 200)
