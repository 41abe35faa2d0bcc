"""Hiding a picture that someone flagged, and showing it again. What was measured in it goes on counting."""

from __future__ import annotations

from django.db import transaction

from registry.accounts.models import Account
from registry.reports.models import ReportState, SampleImage
from registry.reports.services.holding import hold_report, write_report
from registry.reports.services.life import PUBLIC
from registry.reports.services.submission import tell


@transaction.atomic
def withhold_picture(*, image: SampleImage, reason: str) -> bool:
    """Hide a picture of a public report; returns whether it was shown until now. Its author is told by event.

    The event names nobody: who flagged it is known to moderators only. Raises Conflict for a report that is not public.
    """
    report = hold_report(image.report, states=PUBLIC)
    image.refresh_from_db()
    if image.withheld or not image.picture:
        return False
    image.withheld = {"picture": image.picture, "thumbnail": image.thumbnail}
    image.picture = image.thumbnail = ""
    _store(image)
    write_report(report)
    tell(report, "report.picture-withheld", actor=None, image=image.public_id, reason=reason)
    return True


@transaction.atomic
def show_picture_again(*, image: SampleImage, by: Account, reason: str) -> bool:
    """Show a hidden picture again; returns whether it was hidden."""
    report = hold_report(image.report, states=ReportState.values)
    image.refresh_from_db()
    if not image.withheld:
        return False
    image.picture, image.thumbnail = image.withheld["picture"], image.withheld["thumbnail"]
    image.withheld = {}
    _store(image)
    write_report(report)
    tell(report, "report.picture-shown-again", actor=by, image=image.public_id, reason=reason)
    return True


def _store(image: SampleImage) -> None:
    image.save(update_fields=["picture", "thumbnail", "withheld", "updated_at"])
