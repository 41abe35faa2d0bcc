"""How pages write numbers and draw figures. The geometry is in registry.pages.figures."""

from __future__ import annotations

from django import forms, template
from django.http import QueryDict
from django.utils.html import format_html
from django.utils.safestring import SafeString

from registry.pages import figures

register = template.Library()


@register.filter
def f_number(value: float | None) -> str:
    """8.0 → f/8, as the trade writes it."""
    return "" if value is None else f"f/{value:g}"


@register.filter
def figure(value: float | None) -> str:
    """35.0 → 35, 0.95 → 0.95: no zeros that say nothing."""
    return "" if value is None else f"{value:g}"


@register.filter
def ev(value: float | None) -> str:
    """0.2 → 0.20, −0.03 with a true minus."""
    return "" if value is None else f"{value:.2f}".replace("-", "−")


@register.filter
def focal_range(lens) -> str:
    ends = f"{lens.focal_min_mm:g}" + (f"–{lens.focal_max_mm:g}" if lens.is_zoom else "")
    return f"{ends} mm"


@register.filter
def is_checkbox(field) -> bool:
    return isinstance(field.field.widget, forms.CheckboxInput)


@register.inclusion_tag("pages/ladder.svg")
def ladder(chances, *, key: str, title: str, clean_to: float | None = None, small: bool = False) -> dict:
    """The aperture ladder. `key` makes the ids of its title and description unique on the page."""
    drawn = figures.ladder(chances, clean_to=clean_to, small=small)
    return {"ladder": drawn, "key": key, "title": title, "size": "small" if small else "large"}


@register.simple_tag(takes_context=True)
def with_query(context, **changes) -> SafeString:
    """The page's own query string with some parameters changed; an empty value drops one."""
    query: QueryDict = context["request"].GET.copy()
    for name, value in changes.items():
        if value in (None, ""):
            query.pop(name, None)
        else:
            query[name] = value
    return format_html("?{}", query.urlencode()) if query else format_html("?")
