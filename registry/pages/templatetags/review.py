"""How the review desk writes decisions and events, and draws both camps in one plot."""

from __future__ import annotations

from django import template

from registry.moderation.models import Act
from registry.pages.camps_plot import CampsPlot

register = template.Library()
EVENTS = {
    "conflict.opened": "opened: the evidence began to contradict itself",
    "conflict.changed": "reports joined or left a side, or the weights moved",
    "conflict.closed": "closed",
    "conflict.reopened": "opened again by a moderator",
}
HAPPENED = {"made": "decided", "proposed": "proposed", "answered": "answered"}


@register.filter
def happened(event) -> str:
    """What an event about a conflict or a decision was, in words."""
    subject, _, what = event.name.partition(".")
    if subject == "decision":
        act = Act(event.data["act"]).label
        return f"{HAPPENED.get(what, what)}: {act}. {event.data['reason']}"
    reason = event.data.get("reason", "")
    return EVENTS.get(event.name, event.name) + (f": {reason}" if reason else "")


@register.inclusion_tag("pages/camps_plot.svg")
def camps_drawn(plot: CampsPlot, sides) -> dict:
    frame = plot.frame
    return {
        "plot": plot,
        "sides": sides,
        "x_name_x": (frame.left + frame.right) / 2,
        "y_label_x": frame.left - 5,
    }


@register.filter
def moved_words(moved) -> str:
    """A standing that moves: where, and what it says before and after."""
    return f"{_said(moved.before)} → {_said(moved.after)}"


@register.filter
def said_then(moved) -> str:
    return _said(moved.after)


def _said(fields) -> str:
    return f"{fields['words']} ({fields['confidence']})" if fields["confidence"] else fields["words"]


@register.filter
def stops_apart(effect_stops: float) -> str:
    """By how much a limit comes later, or sooner: "2.3 stops later"."""
    return f"{abs(effect_stops):.1f} stops {'later' if effect_stops > 0 else 'sooner'}"


@register.filter
def field_words(name: str) -> str:
    """filter_position → "filter position"."""
    return name.replace("_", " ")
