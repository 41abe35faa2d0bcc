"""Blocking an account by decision, and appeals, which another moderator answers."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from registry.accounts import blocking
from registry.accounts.models import Account, Block, SharedVoice
from registry.errors import Conflict, InvalidInput, NotAllowed, Problem
from registry.ledger.services import record
from registry.moderation.models import Act, Appeal, Flag, FlagOutcome, Handling
from registry.moderation.queries.decisions import IN_FORCE, status_of
from registry.moderation.queries.voices import decision_behind
from registry.moderation.rules import check_may_moderate, checked_reason
from registry.moderation.services.answering import undo_decision
from registry.reports.models import SampleImage
from registry.reports.rules.words import read_words
from registry.reports.services.withholding import show_picture_again

LONGEST_APPEAL = 2000
LONGEST_BLOCK = timedelta(days=5 * 366)


@transaction.atomic
def block_account(*, account: Account, by: Account, reason: str, until: datetime | None = None) -> Block:
    """As accounts.blocking.block_account, by a moderator with a stated reason; until a time within five years."""
    check_may_moderate(by)
    now = timezone.now()
    if until is not None and not now < until <= now + LONGEST_BLOCK:
        raise InvalidInput(
            Problem(
                code="date-out-of-range",
                field="until",
                value=until.isoformat(),
                says=f"{until:%d %B %Y, %H:%M} is not within the next five years.",
                remedy="Name a time to come, or none: then it lasts until someone lifts it.",
            )
        )
    return blocking.block_account(account=account, by=by, reason=checked_reason(reason), until=until)


@transaction.atomic
def lift_block(*, block: Block, by: Account, reason: str) -> Block:
    """As accounts.blocking.lift_block, by any moderator with a stated reason."""
    check_may_moderate(by)
    return blocking.lift_block(block=block, by=by, reason=checked_reason(reason))


@transaction.atomic
def appeal(
    *,
    by: Account,
    says: str,
    block: Block | None = None,
    image: SampleImage | None = None,
    voice: SharedVoice | None = None,
) -> Appeal:
    """Ask for a second look at one's block, at one's hidden picture, or at being counted as one voice with others.

    Raises NotAllowed for someone else's, Conflict while one waits or where it is over, InvalidInput.
    """
    says = read_words(
        says,
        field="says",
        called="appeal",
        longest=LONGEST_APPEAL,
        when_empty=("missing", "The appeal is empty.", "Say why it should be looked at again."),
    )
    about = block or image or voice
    about = type(about)._base_manager.get(pk=about.pk)  # it may have ended since it was read
    Account.objects.select_for_update(no_key=True).get(pk=by.pk)
    if by.pk not in _concerned(about):
        raise NotAllowed(
            Problem(
                code="not-yours",
                field="appeal",
                says="That does not concern your account.",
                remedy="Appeal against what was decided about you.",
            )
        )
    waits = Appeal.objects.filter(by=by, block=block, image=image, voice=voice, granted=None).exists()
    if waits or _is_over(about):
        raise Conflict(
            Problem(
                code="appeal-not-open",
                field="appeal",
                value=str(about),
                says="It is over, or your appeal waits already.",
                remedy="Wait for the answer; it comes on this page.",
            )
        )
    made = Appeal.objects.create(by=by, says=says, block=block, image=image, voice=voice)
    record("appeal.made", actor=by, subject_kind="appeal", subject_id=str(made.pk))
    return made


@transaction.atomic
def answer_appeal(*, appeal: Appeal, by: Account, grant: bool, answer: str) -> Appeal:
    """Grant an appeal, which lifts the block, shows the picture or takes back that accounts count as one voice; or
    say why not.

    Raises NotAllowed for who made the decision appealed against, or is no moderator; Conflict if answered.
    """
    check_may_moderate(by)
    answer = checked_reason(answer)
    appeal = (
        Appeal.objects.select_for_update(of=("self",), no_key=True)
        .select_related("block", "image", "voice", "by")
        .get(pk=appeal.pk)
    )
    if by.pk in deciders_of(appeal) | {appeal.by_id}:
        raise NotAllowed(
            Problem(
                code="own-decision",
                field="appeal",
                value=appeal.pk,
                says="The appeal is against your own decision, or your own.",
                remedy="Leave it to another moderator.",
            )
        )
    if appeal.granted is not None:
        raise Conflict(
            Problem(
                code="appeal-not-open",
                field="appeal",
                value=appeal.pk,
                says=f"{appeal.answered_by} has answered this appeal.",
                remedy="Read the answer.",
            )
        )
    appeal.granted, appeal.answer = grant, answer
    appeal.answered_by, appeal.answered_at = by, timezone.now()
    appeal.save(update_fields=["granted", "answer", "answered_by", "answered_at"])
    if grant:
        _grant(appeal, by, answer)
    Handling.objects.filter(kind="appeal", key=str(appeal.pk)).delete()
    data = {"granted": grant, "reason": answer, "accounts": [appeal.by.public_id]}
    record("appeal.answered", actor=by, subject_kind="appeal", subject_id=str(appeal.pk), data=data)
    return appeal


def _grant(appeal: Appeal, by: Account, answer: str) -> None:
    if appeal.block:
        blocking.lift_block(block=appeal.block, by=by, reason=answer)
    elif appeal.voice:
        decision = decision_behind(appeal.voice)
        if decision and status_of(decision).code == IN_FORCE:
            undo_decision(decision=decision, by=by, reason=answer)
    else:
        # The flags first, then the report, as settling does: so that neither waits for the other for ever.
        Flag.objects.filter(image=appeal.image, outcome__in=(FlagOutcome.OPEN, FlagOutcome.HIDDEN)).update(
            outcome=FlagOutcome.NOTHING_WRONG, settled_by=by, settled_at=timezone.now(), reason=answer
        )
        show_picture_again(image=appeal.image, by=by, reason=answer)


def _concerned(about: Block | SampleImage | SharedVoice) -> set[int]:
    """The accounts that may appeal, by their rows."""
    if isinstance(about, SharedVoice):
        return set(about.members.values_list("account", flat=True))
    return {about.account_id if isinstance(about, Block) else about.owner_id}


def _is_over(about: Block | SampleImage | SharedVoice) -> bool:
    if isinstance(about, SharedVoice):
        return about.ended_at is not None
    return about.is_over if isinstance(about, Block) else not about.withheld


def deciders_of(appeal: Appeal) -> set[int]:
    """The moderators whose decision is appealed against."""
    if appeal.block:
        return {appeal.block.by_id}
    if appeal.voice:
        decision = decision_behind(appeal.voice)
        agreed = decision.answers.filter(act=Act.APPROVE) if decision else ()
        return {row.by_id for row in (decision, *agreed) if row}
    kept_hidden = Flag.objects.filter(image=appeal.image, outcome=FlagOutcome.HIDDEN)
    return set(kept_hidden.values_list("settled_by", flat=True))
