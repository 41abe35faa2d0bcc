"""What only the lens page and its relatives need: places in tables, and the ways on to other rooms' pages."""

from __future__ import annotations

from django import template
from django.urls import NoReverseMatch, reverse

from registry.standings.queries.excess import ExcessPoint, PooledExcess, ReportExcess, ZoneExcess

register = template.Library()


@register.filter
def points_at(sweep: ReportExcess, f_numbers: list[float]) -> list[ExcessPoint | None]:
    """A sweep's points in a table's columns."""
    return [sweep.at(f_number) for f_number in f_numbers]


@register.filter
def pooled_at(zone: ZoneExcess) -> list[PooledExcess | None]:
    """What a zone's sweeps pool to, in the columns of its table."""
    by_stop = {stop.f_number: stop for stop in zone.pooled}
    return [by_stop.get(f_number) for f_number in zone.f_numbers]


@register.simple_tag
def address_if_any(name: str) -> str:
    """The address of a page that this installation may not have."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""
