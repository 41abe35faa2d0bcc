"""What people call the facts about gear."""

from __future__ import annotations

from django import template

register = template.Library()

FACT_WORDS = {
    "focal_min_mm": "shortest focal length, mm",
    "focal_max_mm": "longest focal length, mm",
    "widest_f": "widest f-number",
    "widest_f_tele": "widest f-number at the long end",
    "narrowest_f": "narrowest f-number",
    "filter_thread_mm": "filter thread, mm",
    "filter_seat": "where a filter goes",
    "image_circle_mm": "image circle, mm",
    "mass_g": "mass, g",
    "length_mm": "length, mm",
    "year": "sold since (year)",
}


@register.filter
def fact_words(fact: str) -> str:
    return FACT_WORDS.get(fact, fact.replace("_", " "))


@register.filter
def facts_in_a_row(facts: list[str]) -> str:
    """Several facts in a sentence, without their units."""
    return ", ".join(fact_words(fact).partition(",")[0].partition(" (")[0] for fact in facts)
