"""Reports for the standings' tests, in one call each."""

from __future__ import annotations

from django.utils import timezone

from registry.gear.models import Lens
from registry.reports.models import Report, ReportState
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory
from tests.report_factories import ClaimFactory, ReadingFactory, ReportFactory, RigFactory, SweepFactory

STOPS = (2, 2.8, 4, 5.6, 8, 11, 16)
SUBMITTED = {"state": ReportState.SUBMITTED}


def clean_up_to(limit: float) -> dict[float, int]:
    """Eye grades of a sweep that is clean up to a stop and plainly hot beyond it."""
    return {stop: 0 if stop <= limit else 3 for stop in STOPS}


def report_on(
    lens: Lens,
    *,
    limit: float = 8,
    author=None,
    cut_on_nm: float = 720,
    focal_mm: float | None = None,
    grades: dict[float, int] | None = None,
    **fields,
) -> Report:
    """A submitted report by eye: clean up to `limit`, with a body converted at cut_on_nm."""
    author = author or AccountFactory()
    rig = fields.pop("rig", None) or RigFactory(owner=author, cut_on_nm=cut_on_nm)
    entered = SUBMITTED | {"submitted_at": timezone.now()} | fields
    report = ReportFactory(lens=lens, author=author, rig=rig, **entered)
    sweep = SweepFactory(report=report, focal_length_mm=focal_mm or lens.focal_min_mm)
    for f_number, grade in (grades or clean_up_to(limit)).items():
        ReadingFactory(sweep=sweep, f_number=f_number, grade=grade)
    return report


def relay_on(
    lens: Lens, *, tester: str = "", url: str = "", title: str = "A page", limit: float = 8, **fields
) -> Report:
    """A submitted relay of someone's published claim "clean to f/limit"."""
    report = ReportFactory(
        lens=lens,
        basis="relayed",
        rig=None,
        tester_name=tester,
        citation_title=title,
        citation_url=url,
        submitted_at=timezone.now(),
        **({"cut_on_nm": 720} | SUBMITTED | fields),
    )
    ClaimFactory(report=report, says="clean_to", f_number=limit)
    return report


def divide(lens: Lens) -> list[Report]:
    """Three say f/11, two say f/2.8: the standing is up to them."""
    reports = [report_on(lens, limit=limit) for limit in (11, 11, 11, 2.8, 2.8)]
    refresh_lens(lens)
    return reports
