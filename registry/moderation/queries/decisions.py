"""Reading decisions: what is in force, what waits for someone, what was taken back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.db.models import Q, QuerySet

from registry.errors import NotFound, Problem
from registry.gear.models import Lens
from registry.gear.queries import former_slugs
from registry.moderation.models import Act, Decision
from registry.moderation.rules import DECIDING, ON_VOICES
from registry.reports.models import Report

IN_FORCE, WAITING, DECLINED, TAKEN_BACK, ANSWER = "in-force", "waiting", "declined", "taken-back", "answer"
STATUS_WORDS = {
    IN_FORCE: "in force",
    WAITING: "waits for a second one to agree",
    DECLINED: "declined",
    TAKEN_BACK: "taken back",
    ANSWER: "",
}


@dataclass(frozen=True)
class Status:
    """answer: the row that agreed or declined. undone_by: the row that took it back, or asks to."""

    code: str
    answer: Decision | None
    undone_by: Decision | None

    @property
    def words(self) -> str:
        return STATUS_WORDS[self.code]


def decisions() -> QuerySet[Decision]:
    """Every decision with what belongs to it, newest first."""
    return (
        Decision.objects.select_related("by", "about__by")
        .prefetch_related("reports__author", "reports__lens__maker", "answers__by", "answers__answers__by")
        .order_by("-id")
    )


def decision_by_id(public_id: str) -> Decision:
    """Raises NotFound."""
    found = decisions().filter(public_id=public_id).first()
    if found is None:
        raise NotFound(
            Problem(
                code="unknown-decision",
                field="decision",
                value=public_id,
                says=f"There is no decision “{public_id}”.",
                remedy="Look it up in the list of decisions.",
            )
        )
    return found


def status_of(decision: Decision) -> Status:
    """Where a decision stands."""
    answer = _answer(decision)
    undo = next((row for row in decision.answers.all() if row.act == Act.UNDO and _holds(row)), None)
    if decision.act not in (*DECIDING, Act.UNDO):
        return Status(ANSWER, None, None)
    if decision.proposed and answer is None:
        return Status(WAITING, None, None)
    if answer is not None and answer.act == Act.DECLINE:
        return Status(DECLINED, answer, None)
    return Status(TAKEN_BACK if undo else IN_FORCE, answer, undo)


def outcome_of(decision: Decision) -> dict[str, Any]:
    """What it did when it took effect, at once or once it was agreed to."""
    effective = _answer(decision) if decision.proposed else decision
    return effective.details.get("outcome", {}) if effective else {}


def waiting_for_a_second() -> QuerySet[Decision]:
    """Proposals that nobody has answered yet, the oldest first."""
    answered = Decision.objects.filter(act__in=(Act.APPROVE, Act.CONSENT, Act.DECLINE)).values("about")
    return decisions().filter(proposed=True).exclude(pk__in=answered).order_by("id")


def decisions_on(report: Report) -> QuerySet[Decision]:
    return decisions().filter(reports=report)


def decisions_of_lens(lens: Lens) -> QuerySet[Decision]:
    about_voices = Q(act__in=ON_VOICES, reports__lens=lens)
    return decisions().filter(Q(lens_slug__in=[lens.slug, *former_slugs(lens)]) | about_voices).distinct()


def summary_of(decision: Decision) -> str:
    """What was decided, and on which lens where it is about one: "Set aside, Osterby Marram 35 mm f/1.4"."""
    act = decision.get_act_display().capitalize()
    lens = next((report.lens for report in decision.reports.all()), None) if decision.lens_slug else None
    return f"{act}, {lens}" if lens else act


def signed(decision: Decision) -> str:
    """Who decided, as this installation's privacy setting lets everyone know."""
    if decision.role == "author":
        return f"{decision.by.name}, the author"
    return (
        f"{decision.by.name}, {decision.role}" if settings.DECISIONS_NAME_MODERATORS else f"a {decision.role}"
    )


def in_force(rows: Iterable[Decision]) -> list[Decision]:
    return [row for row in rows if status_of(row).code == IN_FORCE]


def _answer(decision: Decision) -> Decision | None:
    kinds = (Act.APPROVE, Act.CONSENT, Act.DECLINE)
    return next((row for row in decision.answers.all() if row.act in kinds), None)


def _holds(undo: Decision) -> bool:
    answer = _answer(undo)
    return not undo.proposed or (answer is not None and answer.act != Act.DECLINE)
