"""How the review desk writes decisions and events, and draws both camps in one plot."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django import template

from registry.moderation.models import Act, Ground, VoiceSign
from registry.moderation.queries.decisions import summary_of
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
def said_now(moved) -> str:
    return _said(moved.before)


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
def sign_told(sign: VoiceSign) -> str:
    """One sign that two accounts may be one person's, with its figures."""
    figures = sign.figures
    match sign.ground:
        case Ground.TOGETHER:
            burst = f", of {figures['accounts']} within a day" if figures["accounts"] > 2 else ""
            alike = f"{figures['alike_stops']} of {figures['shared_stops']} stops read alike"
            minutes = figures["minutes_apart"]
            apart = f"{minutes} minutes apart" if minutes > 1 else "within a minute of each other"
            return f"registered {apart}{burst}; {alike}"
        case Ground.ADDRESS:
            seen = date.fromisoformat(figures["seen_on"])
            return f"acted from one network address, last on {seen:%-d %b %Y}"
    files = f", {figures['same_files']} the same file" if figures["same_files"] else ""
    frames = f"{figures['frames']} frame{'' if figures['frames'] == 1 else 's'} alike"
    return f"{frames}{files}; grain correlates by up to {figures['likeness']:.2f}"


@register.filter
def grounds_told(signs: Iterable[VoiceSign]) -> list[str]:
    """On which grounds several accounts look like one person's, each once."""
    return list(dict.fromkeys(sign.get_ground_display().capitalize() for sign in signs))


@register.filter
def joining_words(act: str) -> str:
    return {
        Act.SAME_COPY: "Count as tests of one copy",
        Act.SAME_SOURCE: "Count as one source",
        Act.SAME_FRAMES: "Count as the same frames",
    }[act]


register.filter("decision_summary", summary_of)


@register.filter
def field_words(name: str) -> str:
    """filter_position → "filter position"."""
    return name.replace("_", " ")
