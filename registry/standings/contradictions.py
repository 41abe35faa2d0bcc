"""Which splits a light path's standings show, and which of them are one and the same. Pure decisions over rows."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from registry.consensus.assessment import assess_catalogue
from registry.consensus.beliefs import DEFAULT_PRIORS
from registry.consensus.constants import CAUSE_LIKELY
from registry.consensus.evidence import Lens, Report
from registry.consensus.sentences import verdict_words
from registry.standings.by_condition import ByCondition
from registry.standings.models import Standing
from registry.standings.rules import report_id_of

# Splits that cells already keep apart need no moderator.
BETWEEN_CELLS = {"cut_on", "focal"}
DIFFER, SUSPECT, CAUSE = "reports-differ", "suspect", "cause"


@dataclass
class Contradiction:
    """One split in one standing. key: what it is about, alike whenever it shows again. also_at: other standings of
    the path that show the same split."""

    row: Standing
    kind: str
    key: str
    camps: dict[str, list[dict]]
    also_at: list[Standing] = field(default_factory=list)

    @cached_property
    def sides(self) -> tuple[frozenset[str], frozenset[str]]:
        """The reports on either side, the smaller side first."""
        first, second = sorted(
            (frozenset(said["report"] for said in told) for told in self.camps.values()),
            key=lambda side: (len(side), sorted(side)),
        )
        return first, second

    @property
    def cause(self) -> tuple | None:
        """The likely explanation, by what names it."""
        likely = [one for one in self.row.causes[:1] if one["posterior"] >= CAUSE_LIKELY]
        return (likely[0]["factor"], likely[0]["group_a"], likely[0]["group_b"]) if likely else None


def contradictions_in(
    row: Standing, optics: Lens, entries: Sequence[Report], condition: ByCondition | None
) -> list[Contradiction]:
    """The splits that one standing shows. entries: the evidence in its cell. A report that stands apart is told of
    by itself only where the others agree: else it is part of the larger split."""
    if row.verdict == DIFFER:
        return [Contradiction(row, DIFFER, DIFFER, camps_of(optics, _in_dispute(row, entries, condition)))]
    if row.suspects:
        told = told_alone(optics, entries)
        return [_suspect(row, suspect["entries"], told) for suspect in row.suspects]
    if row.leads and row.causes and (likely := row.causes[0])["posterior"] >= CAUSE_LIKELY:
        factor = likely["factor"]
        if factor not in BETWEEN_CELLS and not (condition and condition.factor == factor):
            return [Contradiction(row, CAUSE, f"cause:{factor}", camps_of(optics, entries))]
    return []


def distinct(found: Sequence[Contradiction]) -> list[list[Contradiction]]:
    """The contradictions of one light path, those that are the same split together, the leading standing's first."""
    groups: list[list[Contradiction]] = []
    for one in sorted(found, key=lambda one: (not one.row.leads, one.row.cut_on_group, one.row.focal_zone)):
        mine = [group for group in groups if any(same_split(one, other) for other in group)]
        merged = [other for group in mine for other in group] + [one]
        groups = [group for group in groups if group not in mine] + [merged]
    return groups


def same_split(one: Contradiction, other: Contradiction) -> bool:
    """Whether two standings of a light path show one split: the same report stands apart, the same condition is the
    likely explanation of both, or the same reports face each other."""
    if SUSPECT in (one.kind, other.kind):
        return one.sides[0] == other.sides[0] and bool(one.sides[0])
    if one.cause is not None and one.cause == other.cause:
        return True
    (few, many), (their_few, their_many) = one.sides, other.sides
    facing_alike = bool(few & their_few and many & their_many)
    facing_across = bool(few & their_many and many & their_few)
    return facing_alike != facing_across


def camps_of(optics: Lens, entries: Sequence[Report]) -> dict[str, list[dict]]:
    """The two camps of a cell's evidence: what each entry alone says, parted where either camp agrees best with
    itself (least squares of the limits, as Fisher 1958 groups on a line)."""
    told = sorted(told_alone(optics, entries), key=lambda said: (said["limit_av"], said["entry"]))
    if len(told) < 2:
        return {"sooner": told, "later": []}
    limits = np.array([said["limit_av"] for said in told])
    within = [_spread(limits[:cut]) + _spread(limits[cut:]) for cut in range(1, len(told))]
    cut = int(np.argmin(np.round(within, 9))) + 1
    return {"sooner": told[:cut], "later": told[cut:]}


def told_alone(optics: Lens, entries: Sequence[Report]) -> list[dict]:
    """What each entry says by itself, with the conditions it was made under; those that say nothing are left out."""
    alone = [(optics, [entry]) for entry in entries]
    assessed = assess_catalogue(alone, DEFAULT_PRIORS, with_causes=False) if entries else []
    told = []
    for entry, assessment in zip(entries, assessed, strict=True):
        cells = [cell for cell in assessment.cells if cell.n_independent]
        if cells:
            told.append(_told(entry, cells[0]))
    return told


def _told(entry: Report, cell) -> dict:
    return {
        "entry": entry.id,
        "report": report_id_of(entry.id),
        "says": verdict_words(cell.verdict.says or cell.verdict),
        "limit_av": round(cell.limit_av.median, 4),
        "filter_position": entry.filter_position,
        "cut_on_nm": entry.cut_on_nm,
        "focal_mm": entry.focal_mm,
        "body": entry.body,
        "copy": entry.copy,
        "method": entry.method,
    }


def _suspect(row: Standing, entry_ids: Sequence[str], told: Sequence[dict]) -> Contradiction:
    named = hashlib.sha256(" ".join(entry_ids).encode()).hexdigest()[:40]
    camps = {
        "suspect": [said for said in told if said["entry"] in entry_ids],
        "others": [said for said in told if said["entry"] not in entry_ids],
    }
    return Contradiction(row, SUSPECT, f"suspect:{named}", camps)


def _in_dispute(row: Standing, entries: Sequence[Report], condition: ByCondition | None) -> list[Report]:
    """Where standings are stated by condition, only the side whose reports differ."""
    stated = row.detail.get("by_condition")
    if condition is None or not stated:
        return list(entries)
    differing = {side["label"] for side in stated["sides"] if side["verdict"] == DIFFER}
    places = {place for place, label in enumerate(condition.labels) if label in differing}
    return [entry for entry in entries if condition.side_of(entry) in places]


def _spread(limits: np.ndarray) -> float:
    return float(((limits - limits.mean()) ** 2).sum())
