"""What a contributor waits for after submitting: their report to go in, then the standing that it changes."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpRequest
from django.urls import reverse

from registry.gear.models import Lens
from registry.reports.models import Report, ReportState
from registry.standings.queries import refresh_is_due

EVERY_SECONDS = 2
ASKED_AT_MOST = 30  # times, so a minute


@dataclass(frozen=True)
class Waiting:
    """report: what one waits for. for_frames, for_standing: what is still to come. next_address: where the page
    asks again by itself; empty once a minute has passed, or when nothing is to come."""

    report: Report
    for_frames: bool
    for_standing: bool
    next_address: str

    @property
    def seconds(self) -> int:
        return EVERY_SECONDS

    @property
    def is_over(self) -> bool:
        return not (self.for_frames or self.for_standing)


def address_after(report: Report) -> str:
    """The lens page that shows what a report changes, once it does."""
    return _address(report, {})


def waiting_for(request: HttpRequest, lens: Lens) -> Waiting | None:
    """What the reader waits for on a lens's page; None unless they come from submitting a report of theirs."""
    name = request.GET.get("report", "")
    if not name or not request.user.is_authenticated:
        return None
    report = Report.objects.filter(public_id=name, author=request.user, lens=lens).first()
    if report is None:
        return None
    report.lens = lens
    for_frames = report.state == ReportState.DRAFT and report.submit_when_measured
    for_standing = report.state != ReportState.DRAFT and refresh_is_due(report)
    typed = request.GET.get("asked", "0")
    asked = int(typed) if typed.isdecimal() and len(typed) < 4 else ASKED_AT_MOST
    again = (for_frames or for_standing) and asked < ASKED_AT_MOST
    kept = {key: value for key, value in request.GET.items() if key not in ("report", "asked")}
    next_address = _address(report, kept | {"asked": asked + 1}) if again else ""
    return Waiting(report, for_frames, for_standing, next_address)


def _address(report: Report, more: dict) -> str:
    glass = {
        name: item.slug
        for name in ("teleconverter", "adapter")
        if (item := getattr(report, name)) is not None
    }
    query = urlencode(glass | {"report": report.public_id} | more)
    return f"{reverse('lens', args=[report.lens.slug])}?{query}"
