"""Noting how the registry fares."""

from __future__ import annotations

from django.utils import timezone

from registry.moderation.models import DayFigures
from registry.moderation.queries.figures import figures_now, reliability_now


def note_figures() -> DayFigures:
    """Note today's figures, anew where they were noted today."""
    figures = figures_now() | {"reliability": reliability_now()}
    noted, _ = DayFigures.objects.update_or_create(day=timezone.now().date(), defaults=figures)
    return noted
