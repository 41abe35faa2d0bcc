"""Who may decide what. Decisions over loaded rows, but for what an account has declared."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from django.conf import settings

from registry.accounts.models import Account
from registry.accounts.queries import has_second_factor
from registry.errors import InvalidInput, NotAllowed, Problem
from registry.gear.models import Lens
from registry.moderation.models import Act, Interest
from registry.reports.models import Report
from registry.reports.rules.sources import one_spelling
from registry.reports.rules.words import read_words

LONGEST_REASON = 300
DAYS_TO_ANSWER = 14
LONGEST_DAYS_TO_ANSWER = 90
REASONS = {
    "not-a-target": "a scene was photographed instead of a plain target",
    "other-light": "the light or the target was not even",
    "not-infrared": "visible light reached the sensor",
    "mixed-up": "frames, stops or gear are mixed up",
    "copied": "it repeats another report",
    "faulty-copy": "the lens tested was faulty",
    "unanswered": "a question to its author stayed unanswered",
    "other": "another reason, stated",
}
REASONS_TOLD = list(REASONS.items())
JOINING = (Act.SAME_COPY, Act.SAME_SOURCE, Act.SAME_FRAMES)
ON_SEVERAL = (*JOINING, Act.KEEP_APART)
ON_EVIDENCE = (Act.ASK, Act.SET_ASIDE, Act.RESTORE, *ON_SEVERAL, Act.SPLIT, Act.ACCEPT, Act.CORRECT_GEAR)
ON_VOICES = (Act.SAME_VOICE, Act.OWN_VOICES)
DECIDING = (*ON_EVIDENCE, *ON_VOICES)
VOICES_TOLD = [(act.value, act.label) for act in ON_VOICES]
DECISIONS_TOLD = [(act.value, act.label) for act in ON_EVIDENCE]
ABOUT_REPORTS = (Act.ASK, Act.SET_ASIDE, Act.RESTORE, *ON_SEVERAL, Act.CORRECT_GEAR)
ABOUT_A_CONFLICT = (Act.SPLIT, Act.ACCEPT)


def check_may_moderate(account: Account) -> None:
    """Raise NotAllowed for anyone but a moderator, and where this installation asks for a second factor, for one
    without (OWASP ASVS 5.0.0, 6.3.3)."""
    if not account.moderates:
        raise NotAllowed(
            Problem(
                code="not-a-moderator",
                field="by",
                value=account.name,
                says=f"{account.name} is no moderator.",
                remedy="Ask a moderator to look at this.",
            )
        )
    if settings.MODERATORS_NEED_SECOND_FACTOR and not has_second_factor(account):
        raise NotAllowed(
            Problem(
                code="second-factor-first",
                field="by",
                value=account.name,
                says="Who decides here signs in with a second factor, and your account has none.",
                remedy="Set it up under your account; it takes a minute.",
            )
        )


def check_no_part_in(account: Account, lens: Lens, reports: Iterable[Report]) -> None:
    """Raise NotAllowed where an account would decide on its own report, on a relay of its own test, or on a lens
    that it earns by."""
    problem = part_in(account, lens, reports)
    if problem is not None:
        raise NotAllowed(problem)


def part_in(account: Account, lens: Lens, reports: Iterable[Report]) -> Problem | None:
    """What part an account has in something, so that it must not decide on it; None where it has none."""
    for report in reports:
        if report.author_id == account.pk or one_spelling(report.tester_name) == one_spelling(account.name):
            return Problem(
                code="own-report",
                field="reports",
                value=report.public_id,
                says=f"Report {report.public_id} is your own, or tells of your own test.",
                remedy="Leave this to another moderator.",
            )
    if Interest.objects.filter(account=account, lens=lens).exists() or (
        Interest.objects.filter(account=account, maker=lens.maker_id).exists()
    ):
        return Problem(
            code="declared-interest",
            field="lens",
            value=lens.slug,
            says=f"You have declared an interest in {lens}.",
            remedy="Leave this to another moderator, or correct what you declared under your account.",
        )
    return None


def checked_reason(reason: object) -> str:
    """What is told everyone. Raises InvalidInput for nothing, or over 300 characters."""
    return read_words(
        reason,
        field="reason",
        called="reason",
        longest=LONGEST_REASON,
        when_empty=("reason-needed", "The reason is missing.", "Say why, so that everyone can follow it."),
    )


def checked_reason_code(act: str, code: str) -> str:
    """Which kind of reason a report is set aside for. Raises InvalidInput."""
    if act != Act.SET_ASIDE:
        return ""
    if code in REASONS:
        return code
    raise InvalidInput(
        Problem(
            code="not-a-choice",
            field="reason_code",
            value=code,
            says=f"“{code}” is no kind of reason." if code else "It is not said what kind of reason it is.",
            remedy=f"Use one of: {', '.join(REASONS)}.",
        )
    )


def needs_a_second(act: str, verdict_changes: bool) -> bool:
    """Whether someone else has to agree: to take weight from evidence that a verdict hangs on, by setting it aside or
    by counting people as one (OWASP ASVS 5.0.0, 2.3.5), and to change what someone else's report says."""
    return act == Act.CORRECT_GEAR or (act in (Act.SET_ASIDE, Act.SAME_VOICE) and verdict_changes)


def checked_due(due: date | None, today: date) -> date:
    """The day by which an answer is asked for, two weeks on unless stated. Raises InvalidInput."""
    due = due or today + timedelta(days=DAYS_TO_ANSWER)
    if today < due <= today + timedelta(days=LONGEST_DAYS_TO_ANSWER):
        return due
    raise InvalidInput(
        Problem(
            code="date-out-of-range",
            field="due",
            value=due.isoformat(),
            says=f"{due.isoformat()} is not within the next {LONGEST_DAYS_TO_ANSWER} days.",
            remedy="Name a day that leaves the author some time.",
        )
    )
