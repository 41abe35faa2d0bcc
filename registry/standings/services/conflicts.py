"""Conflicts: opened where independent evidence can't be reconciled, kept up, and closed when it no longer shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import F
from django.utils import timezone

from registry.accounts.models import Account
from registry.consensus.beliefs import Priors
from registry.consensus.descriptive import reports_in
from registry.consensus.evidence import Lens as Optics
from registry.consensus.evidence import Report as Entry
from registry.gear.models import Lens
from registry.ledger.services import record
from registry.standings.between_cells import contradiction_between
from registry.standings.by_condition import ByCondition
from registry.standings.contradictions import Contradiction, contradictions_in, distinct
from registry.standings.models import Conflict, Standing
from registry.standings.stakes import stakes_of

NO_LONGER_SHOWN = "the evidence no longer shows it"
TOLD_ELSEWHERE = "the same split is told in another conflict"


@dataclass(frozen=True)
class PathEvidence:
    """What the standings of one light path were computed from."""

    optics: Optics
    entries: Sequence[Entry]
    priors: Priors
    condition: ByCondition | None


def hold_conflicts(lens: Lens) -> None:
    """Lock a lens's conflicts before anything of a refresh is written, so that who decides and what refreshes
    never wait for each other."""
    list(
        Conflict.objects.select_for_update(no_key=True)
        .filter(standing__lens=lens)
        .order_by("pk")
        .values_list("pk")
    )


def hold_lens_of(conflict_number: int) -> None:
    """Lock the lens that a conflict is on, before the conflict itself: in the order in which a refresh does."""
    rows = Lens.objects.select_for_update(of=("self",), no_key=True)
    list(rows.filter(standings__conflicts=conflict_number).values_list("pk"))


def update_conflicts(
    rows: Sequence[Standing], evidence: PathEvidence, cause_event: int | None = None
) -> None:
    """Open, update and close the conflicts of one light path, from what is stored in its standings.

    One conflict for one split, however many standings show it. What happens to a conflict is an event each.
    """
    found = [one for row in rows for one in _contradictions(row, evidence)]
    if not found and evidence.condition is None:
        found = contradiction_between(rows, evidence.optics, evidence.entries, evidence.priors)
    known = {
        (conflict.standing_id, conflict.key): conflict
        for conflict in Conflict.objects.filter(standing__in=rows, open=True).order_by("pk")
    }
    seen: set[int] = set()
    splits = []
    for group in distinct(found):
        theirs = [known[one.row.pk, one.key] for one in group if (one.row.pk, one.key) in known]
        keeper = min(theirs, key=lambda conflict: conflict.pk, default=None)
        seen.update(conflict.pk for conflict in theirs)
        for other in theirs:
            if other is not keeper:
                close_conflict(other, reason=TOLD_ELSEWHERE, cause_event=cause_event)
        splits.append(_Split(keeper, group))
    for split, stake in zip(splits, _stakes(splits, evidence), strict=True):
        _keep_up(split, stake, cause_event)
    for conflict in known.values():
        if conflict.pk not in seen:
            close_conflict(conflict, reason=NO_LONGER_SHOWN, cause_event=cause_event)


def close_conflict(
    conflict: Conflict, *, reason: str, by: Account | None = None, cause_event: int | None = None
) -> None:
    """Close an open conflict. by: the moderator who settled it; None where the evidence did."""
    _write(conflict, open=False, closed_at=timezone.now(), close_reason=reason)
    _tell("conflict.closed", conflict, by, reason=reason, cause_event=cause_event)


def reopen_conflict(conflict: Conflict, *, by: Account) -> None:
    """Open a conflict again that a moderator had settled; harmless where it is open, or its split is told anew."""
    taken = Conflict.objects.filter(standing=conflict.standing_id, key=conflict.key, open=True)
    if not taken.exists():
        _write(conflict, open=True, closed_at=None, close_reason="")
        _tell("conflict.reopened", conflict, by)


def touch_conflict(conflict: Conflict) -> None:
    """Count an act on a conflict in its version, so that who decides next must have seen it."""
    _write(conflict)


def _contradictions(row: Standing, evidence: PathEvidence) -> list[Contradiction]:
    entries = reports_in(evidence.optics, evidence.entries, row.cut_on_group, row.focal_zone)
    return contradictions_in(row, evidence.optics, entries, evidence.condition)


@dataclass(frozen=True)
class _Split:
    """One split: its conflict, if it is known, and every standing's telling of it."""

    conflict: Conflict | None
    group: list[Contradiction]

    @property
    def told(self) -> Contradiction:
        """As its conflict's standing tells it, or the leading one."""
        if self.conflict is None:
            return self.group[0]
        here = (self.conflict.standing_id, self.conflict.key)
        return next(one for one in self.group if (one.row.pk, one.key) == here)


def _keep_up(split: _Split, stake: float, cause_event: int | None) -> None:
    """Bring one split's conflict up to what its standings show, or open it."""
    conflict, first = split.conflict, split.told
    content = {
        "explanations": first.row.causes,
        "camps": first.camps,
        "also_at": [[one.row.cut_on_group, one.row.focal_zone] for one in split.group if one is not first],
        "stake": round(stake, 6),
    }
    if conflict is None:
        if not _settled(first.row, first.key, first.camps):
            opened = Conflict.objects.create(standing=first.row, kind=first.kind, key=first.key, **content)
            _tell("conflict.opened", opened, None, cause_event=cause_event)
    elif any(getattr(conflict, name) != value for name, value in content.items()):
        _write(conflict, **content)
        _tell("conflict.changed", conflict, None, cause_event=cause_event)


def _stakes(splits: Sequence[_Split], evidence: PathEvidence) -> list[float]:
    asked = [
        (
            (split.told.row.cut_on_group, split.told.row.focal_zone),
            [{said["entry"] for said in told} for told in split.told.camps.values()],
        )
        for split in splits
    ]
    return stakes_of(evidence.optics, evidence.entries, asked, evidence.priors)


def _write(conflict: Conflict, **values: object) -> None:
    for name, value in values.items():
        setattr(conflict, name, value)
    conflict.version = F("version") + 1
    conflict.save(update_fields=[*values, "version", "updated_at"])
    conflict.refresh_from_db(fields=["version"])


def _tell(name: str, conflict: Conflict, by: Account | None, **data: object) -> None:
    counts = {side: len({said["report"] for said in told}) for side, told in conflict.camps.items()}
    about = {"lens": conflict.standing.lens.slug, "kind": conflict.kind, "reports": counts}
    record(
        name, actor=by, subject_kind="conflict", subject_id=str(conflict.pk),
        data=about | {key: value for key, value in data.items() if value is not None},
    )  # fmt: skip


def _settled(row: Standing, key: str, camps: dict) -> bool:
    """Whether a moderator closed this very split: the same reports on each side stay settled."""
    last = row.conflicts.filter(open=False, key=key).order_by("-closed_at", "-id").first()
    by_itself = (NO_LONGER_SHOWN, TOLD_ELSEWHERE)
    return last is not None and last.close_reason not in by_itself and _sides(last.camps) == _sides(camps)


def _sides(camps: dict) -> dict[str, list[str]]:
    return {side: sorted(said["entry"] for said in told) for side, told in camps.items()}
