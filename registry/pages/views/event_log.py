"""The event log, for everyone to read: what happened, in order, each row sealed by the one before."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from registry.ledger.models import Event
from registry.moderation.queries.log import names_of

A_PAGE = 50


class NumberedPages(Paginator):
    """Pages of a chain without a gap: its last number is its length, which saves counting it."""

    @property
    def count(self) -> int:
        newest = self.object_list.values_list("sequence", flat=True).first()
        return newest or 0


@require_safe
def events(request: HttpRequest) -> HttpResponse:
    """Newest first; of one subject, or of one kind of event, where it is named."""
    rows, subject, name = Event.objects.order_by("-sequence"), request.GET.get("subject", ""), ""
    kind, _, number = subject.partition(":")
    if number:
        rows = rows.filter(subject_kind=kind[:40], subject_id=number[:140])
    elif name := request.GET.get("name", "")[:60]:
        rows = rows.filter(name=name)
    pages = (Paginator if number or name else NumberedPages)(rows, A_PAGE)
    page = pages.get_page(request.GET.get("page"))
    names = names_of(event.actor for event in page.object_list)
    context = {
        "page": page,
        "rows": [(event, names.get(event.actor, "")) for event in page.object_list],
        "subject": subject if number else "",
        "name": name,
    }
    return render(request, "pages/event_log.html", context)
