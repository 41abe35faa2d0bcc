"""What the registry said before, and where it can't reconcile the evidence."""

from __future__ import annotations

from django.db.models import QuerySet

from registry.gear.models import Lens
from registry.standings.models import Conflict, StandingChange
from registry.standings.rules import LightPath


def history_of(lens: Lens, *, path: LightPath | None = None) -> QuerySet[StandingChange]:
    """Every change of a lens's standings, or of those of one light path, newest first."""
    changes = lens.standing_changes.select_related("teleconverter__maker", "adapter__maker").order_by("-id")
    return changes.filter(teleconverter=path.teleconverter, adapter=path.adapter) if path else changes


def open_conflicts(lens: Lens | None = None, *, path: LightPath | None = None) -> QuerySet[Conflict]:
    """Open conflicts of one lens, of one light path, or of all, newest first."""
    conflicts = Conflict.objects.filter(open=True).select_related("standing__lens__maker")
    if path:
        glass = {"standing__teleconverter": path.teleconverter, "standing__adapter": path.adapter}
        return conflicts.filter(standing__lens=path.lens, **glass)
    return conflicts.filter(standing__lens=lens) if lens else conflicts
