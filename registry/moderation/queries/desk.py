"""The conflicts that wait, those first that matter most; what each possible decision would change."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from registry.consensus.causes import Cause
from registry.gear.models import Lens
from registry.kept import kept
from registry.ledger.models import Event
from registry.moderation.models import Act, Decision, Handling
from registry.moderation.plan import Plan
from registry.moderation.queries.decisions import IN_FORCE, decisions, status_of
from registry.moderation.rules import JOINING, needs_a_second
from registry.reports.models import Reply, Report, ReportState
from registry.standings.by_condition import FACTORS_TO_STATE_BY, ByCondition
from registry.standings.models import Conflict
from registry.standings.queries.conditions import side_labels
from registry.standings.queries.conflicts import Side, conflicts, first_explanation, sides_told
from registry.standings.queries.stamps import lens_stamp
from registry.standings.queries.supposing import Moved, WhatIf
from registry.wanted.models import WantedTest
from registry.wanted.rules import demand


@dataclass(frozen=True)
class Waiting:
    """One open conflict on the desk. impact: stake × demand. explanation: the condition that explains it best, in
    words, if any. handled: who is at it, or None. asked: the latest question about it that is in force."""

    conflict: Conflict
    impact: float
    look_ups: int
    watches: int
    explanation: str
    handled: Handling | None
    asked: Question | None


@dataclass(frozen=True)
class Question:
    """A question to authors. answered: somebody replied, or revised, since."""

    decision: Decision
    due: date
    answered: bool

    @property
    def overdue(self) -> bool:
        return not self.answered and self.due < timezone.now().date()


@dataclass(frozen=True)
class Foreseen:
    """What one possible decision would do. key: how a form names it. moved: standings that would say something else."""

    key: str
    words: str
    plan: Plan
    moved: tuple[Moved, ...]

    @property
    def verdict_changes(self) -> bool:
        return any(one.verdict_changes for one in self.moved)

    @property
    def of_one_report(self) -> bool:
        return self.plan.act == Act.SET_ASIDE and len(self.plan.reports) == 1

    @property
    def needs_a_second(self) -> bool:
        return needs_a_second(self.plan.act, self.verdict_changes)


def conflicts_waiting(lens: Lens | None = None) -> list[Waiting]:
    """Open conflicts, by impact: how much the verdict hangs on the contradiction × how many ask for the lens."""
    rows = list(conflicts().filter(open=True, **({"standing__lens": lens} if lens else {})))
    asked = asked_for(rows)
    handled = handling_of("conflict")
    questions = questions_on(rows)
    told = []
    for row in rows:
        look_ups, watches = asked.get((row.standing.lens_id, row.standing.cut_on_group), (0, 0))
        told.append(
            Waiting(
                conflict=row,
                impact=impact_of(row.stake, look_ups, watches),
                look_ups=look_ups,
                watches=watches,
                explanation=first_explanation(row.explanations),
                handled=handled.get(str(row.pk)),
                asked=questions.get(row.pk),
            )
        )
    return sorted(told, key=lambda one: (-one.impact, one.conflict.pk))


def impact_of(stake: float, look_ups: int, watches: int) -> float:
    return round(stake * demand(look_ups, watches), 6)


def handling_of(kind: str) -> dict[str, Handling]:
    """Who is at what, by its key."""
    rows = Handling.objects.filter(kind=kind, until__gt=timezone.now()).select_related("by")
    return {row.key: row for row in rows}


def questions_on(rows: Iterable[Conflict]) -> dict[int, Question]:
    """The latest question in force about each conflict."""
    asked = decisions().filter(conflict__in=[row.pk for row in rows], act=Act.ASK).order_by("id")
    return {row.conflict_id: question_of(row) for row in asked if status_of(row).code == IN_FORCE}


def question_of(decision: Decision) -> Question:
    reports = [report.pk for report in decision.reports.all()]
    answered = (
        Reply.objects.filter(report__in=reports, at__gt=decision.at, by__reports__in=reports).exists()
        or Report.objects.filter(pk__in=reports, revisions__at__gt=decision.at).exists()
    )
    return Question(decision, date.fromisoformat(decision.details["due"]), answered)


def history_of_conflict(conflict: Conflict) -> list[Event]:
    """What happened to a conflict, and what was decided about it, oldest first."""
    made = list(Decision.objects.filter(conflict=conflict.pk).values_list("public_id", flat=True))
    own = Event.objects.filter(subject_kind="conflict", subject_id=str(conflict.pk))
    return list(
        (own | Event.objects.filter(subject_kind="decision", subject_id__in=made)).order_by("sequence")
    )


def foreseen_for(conflict: Conflict, sides: list[Side] | None = None) -> list[Foreseen]:
    """What the standing would become under each decision that the conflict page offers, computed and not written;
    kept until the lens's evidence or the conflict changes."""
    stamp = lens_stamp(conflict.standing.lens.slug)
    made_from = ("foreseen", conflict.pk, conflict.version, stamp and stamp.text)
    return kept(made_from, lambda: _foreseen(conflict, sides_told(conflict) if sides is None else sides))


def _foreseen(conflict: Conflict, sides: list[Side]) -> list[Foreseen]:
    what_if = WhatIf(conflict.standing.lens)
    return [
        Foreseen(key, words, plan, tuple(what_if.moved(plan.supposed())))
        for key, words, plan in _possible(conflict, sides)
    ]


def foresee(plan: Plan) -> list[Moved]:
    """What one decision would change, anywhere."""
    return WhatIf(*plan.lenses).moved(plan.supposed())


def split_conditions(causes: Iterable[Mapping]) -> dict[str, ByCondition]:
    """The conditions that standings can be stated by here, by factor: those that explanations name."""
    named = [Cause(**cause) for cause in causes if cause["factor"] in FACTORS_TO_STATE_BY]
    return {cause.factor: ByCondition(cause.factor, cause.group_a, side_labels(cause)) for cause in named}


def _possible(conflict: Conflict, sides: list[Side]) -> Iterator[tuple[str, str, Plan]]:
    lens = conflict.standing.lens
    for side in sides:
        counting = [report for report in side.reports if report.state == ReportState.SUBMITTED]
        for report in counting if len(counting) > 1 else ():
            words = f"set aside report {report.public_id} ({side.title.lower()})"
            yield f"set-aside {report.public_id}", words, Plan(Act.SET_ASIDE, lens, [report], conflict)
        if counting:
            words = f"set aside all of “{side.title.lower()}”"
            yield f"set-aside {side.name}", words, Plan(Act.SET_ASIDE, lens, counting, conflict)
        if len(counting) > 1:
            words = f"count “{side.title.lower()}” as one: the same copy, source or frames"
            yield f"same {side.name}", words, Plan(JOINING[0], lens, counting, conflict)
    for factor, condition in split_conditions(conflict.explanations).items():
        words = f"state it by condition: {' and '.join(condition.labels)}"
        yield f"split {factor}", words, Plan(Act.SPLIT, lens, (), conflict, condition)
    yield "accept", "accept it as unexplained copy variation", Plan(Act.ACCEPT, lens, (), conflict)


def asked_for(rows: Iterable[Conflict]) -> dict[tuple[int, str], tuple[int, int]]:
    """Look-ups and watches, by lens (its row) and cut-on group, as they were counted last."""
    lenses = {row.standing.lens_id for row in rows}
    counted = WantedTest.objects.filter(lens__in=lenses).values_list(
        "lens", "cut_on_group", "look_ups", "watches"
    )
    return {(lens, group): (look_ups, watches) for lens, group, look_ups, watches in counted}
