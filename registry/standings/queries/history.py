"""What the registry said before, and where it can't reconcile the evidence."""

from __future__ import annotations

from django.db.models import QuerySet

from registry.gear.models import Lens
from registry.standings.models import Conflict, StandingChange


def history_of(lens: Lens) -> QuerySet[StandingChange]:
    """Every change of a lens's standings, newest first."""
    return lens.standing_changes.select_related("teleconverter__maker", "adapter__maker").order_by("-id")


def open_conflicts(lens: Lens | None = None) -> QuerySet[Conflict]:
    """Open conflicts of one lens, or of all, newest first."""
    conflicts = Conflict.objects.filter(open=True).select_related("standing__lens__maker")
    return conflicts.filter(standing__lens=lens) if lens else conflicts
