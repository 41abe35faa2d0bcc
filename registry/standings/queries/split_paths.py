"""Which light paths are stated by condition."""

from __future__ import annotations

from collections.abc import Iterable

from registry.gear.models import Lens
from registry.standings.by_condition import ByCondition
from registry.standings.models import ConditionSplit


def conditions_in_force(
    lenses: Iterable[Lens] | None = None,
) -> dict[tuple[int, int | None, int | None], ByCondition]:
    """By lens, teleconverter and adapter (their rows), the condition that its standings are stated by. lenses: all,
    unless given."""
    rows = ConditionSplit.objects.filter(ended_at=None)
    if lenses is not None:
        rows = rows.filter(lens__in=list(lenses))
    return {
        (row.lens_id, row.teleconverter_id, row.adapter_id): ByCondition(
            row.factor, row.group, tuple(row.labels)
        )
        for row in rows
    }
