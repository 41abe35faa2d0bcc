"""When a change is worth a notice, and when a digest is due. Pure decisions."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from registry.consensus.verdicts import CONFIDENCES
from registry.errors import InvalidInput, Problem
from registry.watching.models import NoticeMail, Rhythm

WATCHES_PER_ACCOUNT = 500
INTERVALS = {Rhythm.DAILY: timedelta(days=1), Rhythm.WEEKLY: timedelta(days=7)}
# Events about a report that its author is told of.
TOLD_TO_AUTHORS = (
    "report.questioned",
    "report.set-aside",
    "report.restored",
    "report.corrected",
    "report.confirmed",
    "report.picture-withheld",
    "report.picture-shown-again",
)


def verdict_of(words: str) -> str:
    """A standing's words without how sure they are: "clean to f/8 (fair)" → "clean to f/8"."""
    verdict, _, sure = words.rpartition(" (")
    return verdict if sure.removesuffix(")") in CONFIDENCES else words


def verdict_moved(changes: list[Mapping]) -> bool:
    """Whether any standing says something else now, and not only more or less surely."""
    return any(verdict_of(change["before"]) != verdict_of(change["after"]) for change in changes)


def told_until(begins: datetime, rhythm: str, now: datetime) -> datetime | None:
    """End of the span that a digest is due for: whole days or weeks since the last; None when none is over."""
    interval = INTERVALS.get(rhythm)
    if interval is None or now - begins < interval:
        return None
    return begins + interval * ((now - begins) // interval)


def check_mail_choice(notices: str, digest: str) -> None:
    """Raises InvalidInput where notices would wait for a digest that never comes."""
    if notices == NoticeMail.DIGEST and digest == Rhythm.NEVER:
        raise InvalidInput(
            Problem(
                code="digest-rhythm-needed",
                field="digest",
                value=digest,
                says="Notices would wait for a digest that never comes.",
                remedy="Choose a daily or weekly digest, or have notices mailed at once or not at all.",
            )
        )
