"""A report's entry into the registry, from where on it counts."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date

from django.conf import settings
from django.utils import timezone

from registry.accounts.models import Account
from registry.accounts.services import check_not_blocked
from registry.errors import InvalidInput, NotAllowed
from registry.gear.models import Lens
from registry.ledger.services import record
from registry.reports.models import Report, ReportState
from registry.reports.rules.newcomers import why_it_waits
from registry.reports.rules.submission import check_submission
from registry.reports.rules.summary import contradiction_problems
from registry.reports.rules.sweeps import is_settled
from registry.reports.services.holding import write_report


def enter(report: Report) -> Report:
    """Submit a held draft whose frames are all through.

    Raises InvalidInput with everything that keeps it from counting.
    """
    if report.shot_on is None:
        report.shot_on = _day_of_frames(report)
    problems = [*check_submission(report), *contradiction_problems(report)]
    if problems:
        raise InvalidInput(problems)
    state, reason = state_on_entry(report.author, report.lens, with_frames=report.images.exists())
    write_report(
        report,
        state=state,
        state_reason=reason,
        shot_on=report.shot_on,
        submitted_at=timezone.now(),
        submit_when_measured=False,
        submit_problems=[],
    )
    report.awaited.all().delete()  # what has not come by now is not waited for
    tell(
        report, "report.waiting" if state == ReportState.WAITING else "report.submitted", actor=report.author
    )
    return report


def state_on_entry(author: Account, lens: Lens, *, with_frames: bool) -> tuple[str, str]:
    """Whether what an author files counts at once, or waits for a confirmation, and why: see rules.newcomers."""
    reason = why_it_waits(author, lens, with_frames=with_frames) if settings.NEW_REPORTS_WAIT else None
    return (ReportState.SUBMITTED, "") if reason is None else (ReportState.WAITING, reason)


def enter_when_ready(report: Report) -> None:
    """Submit a held draft that waits for its frames, once they are through; or note why it could not go in."""
    if not (report.submit_when_measured and report.state == ReportState.DRAFT and is_settled(report)):
        return
    try:
        check_not_blocked(report.author)
        enter(report)
    except (InvalidInput, NotAllowed) as error:
        found = [asdict(problem) for problem in error.problems]
        write_report(report, submit_when_measured=False, submit_problems=found)


def tell(report: Report, name: str, *, actor: object, **data: object) -> None:
    """Record what happened to a report in the ledger, which tells its followers."""
    about = told_of(report) | data
    record(name, actor=actor, subject_kind="report", subject_id=report.public_id, data=about)


def told_of(report: Report) -> dict[str, object]:
    """What every event about a report says."""
    return {"lens": report.lens.slug, "revision": report.revision}


def _day_of_frames(report: Report) -> date | None:
    """The day on which the first frame was taken, as its camera's clock says."""
    days = sorted(str(image.exif.get("taken_at") or "")[:10] for image in report.images.all())
    known = [day for day in days if day and day <= timezone.now().date().isoformat()]
    return date.fromisoformat(known[0]) if known else None
