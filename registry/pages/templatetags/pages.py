"""How pages write numbers and draw figures. The geometry is in registry.pages.figures."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from urllib.parse import urlencode

from django import forms, template
from django.http import QueryDict
from django.template.loader import get_template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from registry.consensus.cells import band_label, zone_label
from registry.consensus.sentences import confidence_words
from registry.optics.stops import f_number_of
from registry.pages import figures, plots
from registry.pages.views import drafts
from registry.standings.queries.conditions import FACTORS

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
def figure_or_text(value: float | str | None) -> str:
    """As figure; what was typed and is no number stays as it was typed."""
    return value if isinstance(value, str) else figure(value)


@register.filter
def ev(value: float | None) -> str:
    """0.2 → 0.20, −0.03 with a true minus."""
    return "" if value is None else f"{round(value, 2) + 0.0:.2f}".replace("-", "−")


@register.filter
def spread(value: float | None) -> str:
    """A standard error in EV; never 0.00, since no frame is known that well."""
    return "" if value is None else f"{max(value, 0.01):.2f}"


@register.filter
def focal_range(lens) -> str:
    ends = f"{lens.focal_min_mm:g}" + (f"–{lens.focal_max_mm:g}" if lens.is_zoom else "")
    return f"{ends} mm"


@register.filter
def is_checkbox(field) -> bool:
    return isinstance(field.field.widget, forms.CheckboxInput)


@register.simple_tag
def ladder(
    chances: Iterable[figures.Chance],
    *,
    key: str,
    title: str,
    verdict: str = "",
    f_number: float | None = None,
    small: bool = False,
    scale: figures.Scale | None = None,
) -> SafeString:
    """The aperture ladder. `key` makes the ids of its title and description unique on the page.

    verdict, f_number: of the standing; a bracket runs under the stops that it states as clean. scale: where several
    ladders stand under each other, their common one.
    """
    return _drawn(tuple(chances), str(key), str(title), verdict, f_number, small, scale)


@lru_cache(maxsize=2048)  # a list draws fifty; most are the same as on the page before
def _drawn(
    chances: tuple[figures.Chance, ...],
    key: str,
    title: str,
    verdict: str,
    f_number: float | None,
    small: bool,
    scale: figures.Scale | None,
) -> SafeString:
    clean_to = figures.stated_limit(verdict, f_number, chances)
    drawn = figures.ladder(chances, clean_to=clean_to, small=small, scale=scale)
    context = {"ladder": drawn, "key": key, "title": title, "size": "small" if small else "large"}
    return get_template("pages/ladder.svg").render(context)


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


def _plot(drawn: plots.Plot, *, key: str, title: str, x_name: str) -> dict:
    frame = drawn.frame
    middle = (frame.left + frame.right) / 2
    return {
        "plot": drawn,
        "key": key,
        "title": title,
        "x_name": x_name,
        "x_name_x": middle,
        "y_label_x": frame.left - 5,
    }


@register.inclusion_tag("pages/plot.svg")
def sweep_plot(readings, *, key: int, title: str, visible_ev: float) -> dict:
    """Excess against aperture. readings: rows with f_number, excess_ev and excess_se."""
    rows = [(row.f_number, row.excess_ev, row.excess_se) for row in readings]
    return _plot(
        plots.sweep_plot(rows, visible_ev=visible_ev),
        key=f"sweep-plot-{key}",
        title=title,
        x_name="aperture, f/",
    )


@register.inclusion_tag("pages/plot.svg")
def profile_plot(profile, *, key: str, title: str, visible_ev: float) -> dict:
    """Excess against distance from the patch's centre. profile: radius, excess, low, high."""
    drawn = plots.profile_plot(
        profile.radius, profile.excess, profile.low, profile.high, visible_ev=visible_ev
    )
    return _plot(drawn, key=key, title=title, x_name="distance from the patch’s centre, half-diagonals")


@register.inclusion_tag("pages/picture.html")
def framed(image, shown=None) -> dict:
    """A picture with the measured patch's circle drawn over it. shown: centre and radius, or None."""
    drawn = None
    if shown is not None and shown.centre and shown.radius and image.width:
        drawn = plots.overlay(image.width, image.height, centre=shown.centre, radius=shown.radius)
    doubtful = drawn is not None and ((shown.probability_of_patch or 0) < 0.5 or (shown.ev_low or 0) < 0.005)
    return {"image": image, "drawn": drawn, "doubtful": doubtful}


@register.filter
def sentence(words: str) -> str:
    """A verdict's words as a sentence: first letter large, a full stop at the end."""
    text = str(words).strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".") if text else ""


@register.filter
def sureness(confidence: str | None) -> str:
    """What a level of confidence means, in the consensus room's words."""
    return confidence_words(confidence or None)


@register.filter
def by_aperture(frames) -> list:
    """Frames (with an `image`) by focal length, then from the widest aperture on; those without first."""
    return sorted(
        frames,
        key=lambda frame: (frame.image.focal_length_mm or 0, frame.image.f_number or 0, frame.image.pk),
    )


@register.filter
def narrowest_first(images) -> list:
    """Pictures from the narrowest aperture on, where a hotspot shows most."""
    return sorted(images, key=lambda image: -(image.f_number or 0))


@register.filter
def measured(readings) -> list:
    """The readings that a frame's measurement or a typed excess gives, without those graded by eye only."""
    return [reading for reading in readings if reading.excess_ev is not None]


@register.filter
def limit_in_words(limit: dict) -> str:
    """A clean limit (Av) as f-numbers: f/9 (90 % interval f/6.4 to f/13)."""
    if not limit:
        return ""
    low, median, high = (f"f/{f_number_of(limit[end]):.2g}" for end in ("low", "median", "high"))
    if limit["open_low"] and limit["open_high"]:
        return "not narrowed down by what was tested"
    if limit["open_high"]:
        return f"beyond {low} (90 % sure); how far beyond, nobody has tested"
    if limit["open_low"]:
        return f"wider than {high} (90 % sure); how much wider, nobody has tested"
    return f"{median}, with 90 % between {low} and {high}"


@register.filter
def zone_words(zone: str) -> str:
    """A focal zone's key in words."""
    return zone_label(zone)


@register.filter
def group_words(group: str) -> str:
    """A cut-on group's key in words."""
    return band_label(group)


EVENTS = {
    "report.submitted": "a report came in",
    "report.revised": "a report was revised",
    "report.withdrawn": "a report was withdrawn",
    "report.set-aside": "a report was set aside",
    "report.restored": "a report was restored",
    "report.remeasured": "frames were measured again",
    "report.corrected": "the gear that a report names was corrected",
    "evidence.joined": "reports were found to be one",
    "evidence.parted": "reports count by themselves again",
    "standing.split": "it is stated by condition now",
    "standing.joined": "it is stated as one again",
    "whole refresh": "everything was worked out anew",
}


@register.filter
def event_words(cause: str) -> str:
    """What made a standing change."""
    return EVENTS.get(cause, cause)


CAMPS = {"sooner": "Hot sooner", "later": "Hot later", "suspect": "Stands apart", "others": "The others"}


@register.filter
def camp_words(camp: str) -> str:
    """What the reports on one side of a conflict have in common."""
    return CAMPS.get(camp, camp)


@register.filter
def draft_address(report) -> str:
    """Where the work on a draft goes on."""
    return drafts.draft_address(report)


@register.filter
def factor_words(factor: str) -> str:
    """What a candidate explanation is about, in a photographer's words."""
    return FACTORS.get(factor, factor)


@register.filter
def glass_words(path) -> str:
    """The teleconverter and adapter of a light path: "with Osterby Extender 1.4×"; "alone" for a bare lens."""
    names = [str(glass) for glass in (path.teleconverter, path.adapter) if glass is not None]
    return f"with {' and '.join(names)}" if names else "alone"


@register.simple_tag
def path_query(path, seen) -> SafeString:
    """The query that leads to a light path's standing, at the reader's cut-on."""
    glass = {
        name: item.slug for name in ("teleconverter", "adapter") if (item := getattr(path, name)) is not None
    }
    return format_html("?{}", urlencode(glass | {"cut_on_nm": f"{seen.cut_on_nm:g}"}))


@register.filter
def share(value: float) -> str:
    """0.73 → 73 %; never 0 or 100 %, since no evidence makes a chance certain."""
    return f"{min(99, max(1, round(100 * value)))} %"


@register.filter
def entry(mapping: dict, key):
    """What a mapping holds under a key that the template has as a variable."""
    return mapping.get(key)
