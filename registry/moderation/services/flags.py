"""Readers' flags: raising one, and a moderator's settling all that are open on one thing."""

from __future__ import annotations

from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account
from registry.accounts.services import check_not_blocked
from registry.errors import Conflict, InvalidInput, NotAllowed, Problem
from registry.ledger.services import record
from registry.moderation.models import Flag, FlagOutcome, FlagReason, Handling
from registry.moderation.queries.care import key_of
from registry.moderation.rules import LONGEST_REASON, check_may_moderate, check_no_part_in, checked_reason
from registry.reports.models import Report, SampleImage
from registry.reports.queries import PUBLIC_STATES
from registry.reports.services.withholding import show_picture_again, withhold_picture

FLAGS_A_DAY = 20
HIDING_AT_ONCE = 3  # pictures that one account's open flags may hide
HIDES = (FlagReason.PERSON, FlagReason.NOT_THEIRS, FlagReason.OFFENSIVE)


@transaction.atomic
def raise_flag(
    *, by: Account, report: Report, reason_code: str, says: str = "", image: SampleImage | None = None
) -> Flag:
    """Ask for a public report, or one of its pictures, to be looked at. Raised twice, it is raised once.

    A picture that may show what it must not is hidden until a moderator has looked, unless one has looked at it
    before or the account's open flags hide three already. Raises InvalidInput, NotAllowed for a blocked account or
    one's own report, Conflict for a report that is not public or beyond 20 flags a day.
    """
    says = " ".join(says.split())
    _check(by, report, image, reason_code, says)
    Account.objects.select_for_update(no_key=True).get(
        pk=by.pk
    )  # so that two at once can't both be the twentieth
    open_one = Flag.objects.filter(by=by, report=report, image=image, outcome=FlagOutcome.OPEN).first()
    if open_one:
        return open_one
    if Flag.objects.filter(by=by, at__gt=timezone.now() - timedelta(days=1)).count() >= FLAGS_A_DAY:
        raise Conflict(
            Problem(
                code="too-many-flags",
                field="report",
                value=report.public_id,
                says=f"You have flagged {FLAGS_A_DAY} things within a day.",
                remedy="Go on tomorrow, or write to a moderator if it can’t wait.",
            )
        )
    flag = Flag.objects.create(by=by, report=report, image=image, reason_code=reason_code, says=says)
    if image is not None and reason_code in HIDES and not _looked_at(image) and _may_hide(by):
        flag.hid = withhold_picture(image=image, reason=FlagReason(reason_code).label)
        flag.save(update_fields=["hid"])
    return flag


@transaction.atomic
def settle_flags(*, by: Account, report: Report, image: SampleImage | None, outcome: str, reason: str) -> int:
    """Settle every open flag on a report, or on one picture of it; returns how many.

    nothing-wrong shows a hidden picture again, also one that was kept hidden before; hidden keeps it hidden or hides
    it; seen-to says that it was seen to otherwise. Raises NotAllowed for anyone but a moderator without a part in
    it, InvalidInput.
    """
    check_may_moderate(by)
    check_no_part_in(by, report.lens, [report])
    reason = checked_reason(reason)
    if outcome not in (
        FlagOutcome.NOTHING_WRONG,
        FlagOutcome.SEEN_TO,
        *([FlagOutcome.HIDDEN] if image else []),
    ):
        raise InvalidInput(_no_choice("outcome", outcome, [value for value in FlagOutcome.values if value]))
    settled_anew = [FlagOutcome.HIDDEN] if image and outcome == FlagOutcome.NOTHING_WRONG else []
    flags = Flag.objects.select_for_update(no_key=True).filter(
        report=report, image=image, outcome__in=[FlagOutcome.OPEN, *settled_anew]
    )
    settled = flags.update(outcome=outcome, settled_by=by, settled_at=timezone.now(), reason=reason)
    if image is not None and outcome == FlagOutcome.HIDDEN:
        withhold_picture(image=image, reason=reason)
    elif image is not None:
        show_picture_again(image=image, by=by, reason=reason)
    if settled:
        key = key_of(report, image)
        Handling.objects.filter(kind="flag", key=key).delete()
        data = {"outcome": outcome, "reason": reason, "image": image.public_id if image else None}
        record("flag.settled", actor=by, subject_kind="report", subject_id=report.public_id, data=data)
    return settled


def _check(by: Account, report: Report, image: SampleImage | None, reason_code: str, says: str) -> None:
    check_not_blocked(by)
    if report.author_id == by.pk:
        raise NotAllowed(
            Problem(
                code="own-report",
                field="report",
                value=report.public_id,
                says="This report is your own.",
                remedy="Revise or withdraw it instead.",
            )
        )
    if report.state not in PUBLIC_STATES or (image is not None and image.report_id != report.pk):
        raise Conflict(
            Problem(
                code="wrong-state",
                field="report",
                value=report.public_id,
                says=f"Report {report.public_id} is not public, or the picture is none of it.",
                remedy="Load its page again.",
            )
        )
    if reason_code not in FlagReason.values:
        raise InvalidInput(_no_choice("reason_code", reason_code, FlagReason.values))
    if len(says) > LONGEST_REASON:
        raise InvalidInput(
            Problem(
                code="text-too-long",
                field="says",
                value=says[:60],
                says=f"The note has {len(says)} characters.",
                remedy=f"Shorten it to {LONGEST_REASON}.",
            )
        )


def _looked_at(image: SampleImage) -> bool:
    """Whether a moderator has found this picture harmless: then only a moderator hides it."""
    return Flag.objects.filter(image=image, outcome=FlagOutcome.NOTHING_WRONG).exists()


def _may_hide(by: Account) -> bool:
    return Flag.objects.filter(by=by, hid=True, outcome=FlagOutcome.OPEN).count() < HIDING_AT_ONCE


def _no_choice(field: str, value: str, choices: list[str]) -> Problem:
    return Problem(
        code="not-a-choice",
        field=field,
        value=value[:40],
        says=f"“{value[:40]}” is no choice here.",
        remedy=f"Use one of: {', '.join(choices)}.",
    )
