"""What the facts about a piece of gear must be like, whether a file brings them or a person types them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.db.models import Manager, Model

from registry.errors import Problem
from registry.gear.models import Adapter, Body, Filter, FilterSeat, Lens, Maker, Mount, Passes, Teleconverter

# The facts a row may state, by kind as an import names it. Those of REQUIRED a new row must state.
FACTS: dict[str, tuple[str, ...]] = {
    "makers": ("name",),
    "mounts": ("name", "flange_distance_mm"),
    "lenses": (
        *(
            "maker",
            "name",
            "optical_revision",
            "mounts",
            "aliases",
            "focal_min_mm",
            "focal_max_mm",
            "widest_f",
        ),
        *("widest_f_tele", "narrowest_f", "projection", "filter_thread_mm", "filter_seat", "image_circle_mm"),
        *("mass_g", "length_mm", "year"),
    ),
    "bodies": (
        *(
            "maker",
            "name",
            "mount",
            "sensor_width_mm",
            "sensor_height_mm",
            "megapixels",
            "year",
            "exif_model",
        ),
    ),
    "filters": ("maker", "name", "passes", "cut_on_nm", "cut_off_nm"),
    "teleconverters": ("maker", "name", "magnification", "mounts"),
    "adapters": ("maker", "name", "lens_mount", "body_mount", "has_glass", "magnification"),
}
REQUIRED: dict[str, tuple[str, ...]] = {
    "makers": ("name",),
    "mounts": ("name",),
    "lenses": ("maker", "name", "focal_min_mm", "widest_f"),
    "bodies": ("maker", "name"),
    "filters": ("maker", "name", "cut_on_nm"),
    "teleconverters": ("maker", "name", "magnification"),
    "adapters": ("maker", "name", "lens_mount", "body_mount"),
}
KIND_MODELS = {
    "makers": Maker,
    "mounts": Mount,
    "lenses": Lens,
    "bodies": Body,
    "filters": Filter,
    "teleconverters": Teleconverter,
    "adapters": Adapter,
}
# A fact that a new row leaves out and that another one tells.
TOLD_BY = {"focal_max_mm": "focal_min_mm", "widest_f_tele": "widest_f"}


# What readers look for in a lens's facts, most wanted first: the thread decides on filters, the narrowest stop on how
# far a test goes, the mounts on whose lens it is, mass on what is carried.
WANTED_OF_LENSES = (
    "filter_thread_mm",
    "narrowest_f",
    "mounts",
    "mass_g",
    "length_mm",
    "image_circle_mm",
    "year",
)


def is_stated(item, fact: str) -> bool:
    """Whether the catalogue states a fact. A front seat without a thread is only what is assumed of a lens of which
    nobody said where a filter goes."""
    if fact == "filter_seat":
        return item.filter_seat != FilterSeat.FRONT_THREAD or item.filter_thread_mm is not None
    if fact == "filter_thread_mm" and item.filter_seat != FilterSeat.FRONT_THREAD:
        return True  # there is none to state
    return getattr(item, fact) not in (None, "")


def facts_stated(item) -> dict[str, Any]:
    """The facts that a row states, by name; maker and mounts by theirs."""
    plural = next(name for name, model in KIND_MODELS.items() if model is type(item))
    facts = {fact: _told(getattr(item, fact)) for fact in FACTS[plural]}
    return {fact: value for fact, value in facts.items() if value not in (None, "", [])}


def _told(value: Any) -> Any:
    if isinstance(value, Manager):
        return [str(row) for row in value.all()]
    return str(value) if isinstance(value, Model) else value


def lacking_facts(lens: Lens) -> list[str]:
    """Which of the wanted facts nobody has stated. Reads lens.mounts: prefetch it for many."""
    return [
        fact
        for fact in WANTED_OF_LENSES
        if not (lens.mounts.all() if fact == "mounts" else is_stated(lens, fact))
    ]


def check_item(item) -> list[Problem]:
    """What contradicts itself in a piece of gear, saved or not; each fact alone has been read already."""
    return _CHECKS.get(type(item), lambda _: [])(item)


def _check_lens(lens: Lens) -> list[Problem]:
    problems = []
    if lens.focal_max_mm < lens.focal_min_mm:
        problems.append(
            Problem(
                code="focal-range-reversed",
                field="focal_max_mm",
                value=lens.focal_max_mm,
                says=f"The longest focal length, {lens.focal_max_mm:g} mm, is below the shortest, "
                f"{lens.focal_min_mm:g} mm.",
                remedy="Give the shorter one as focal_min_mm; a prime has the same value twice.",
            )
        )
    widest = max(lens.widest_f, lens.widest_f_tele)
    if lens.narrowest_f is not None and lens.narrowest_f < widest:
        problems.append(
            Problem(
                code="narrowest-not-beyond-widest",
                field="narrowest_f",
                value=lens.narrowest_f,
                says=f"The narrowest aperture, f/{lens.narrowest_f:g}, is wider than the widest, f/{widest:g}.",
                remedy="The narrowest aperture has the largest f-number, such as 16 or 22.",
            )
        )
    if lens.filter_thread_mm is not None and lens.filter_seat != FilterSeat.FRONT_THREAD:
        problems.append(
            Problem(
                code="thread-without-front-seat",
                field="filter_thread_mm",
                value=lens.filter_thread_mm,
                says=f"A filter thread of {lens.filter_thread_mm:g} mm contradicts the filter seat "
                f"“{lens.filter_seat}”.",
                remedy="Leave the thread empty, or give the seat as front-thread.",
            )
        )
    return problems


def _check_filter(item: Filter) -> list[Problem]:
    if item.passes == Passes.BAND_PASS and item.cut_off_nm is None:
        return [
            Problem(
                code="cut-off-missing",
                field="cut_off_nm",
                says="A band-pass filter needs a cut-off.",
                remedy="Give the longer wavelength of half its peak transmittance, in nm.",
            )
        ]
    if item.cut_off_nm is not None and item.cut_off_nm <= item.cut_on_nm:
        return [
            Problem(
                code="cut-off-not-beyond-cut-on",
                field="cut_off_nm",
                value=item.cut_off_nm,
                says=f"The cut-off, {item.cut_off_nm:g} nm, is not beyond the cut-on, {item.cut_on_nm:g} nm.",
                remedy="Give the shorter wavelength as cut_on_nm.",
            )
        ]
    return []


def _check_adapter(adapter: Adapter) -> list[Problem]:
    problems = []
    if adapter.lens_mount_id == adapter.body_mount_id:
        problems.append(
            Problem(
                code="adapter-joins-one-mount",
                field="body_mount",
                value=str(adapter.body_mount),
                says=f"The adapter has the mount {adapter.body_mount} on both sides.",
                remedy="Give the lens's mount as lens_mount and the body's as body_mount.",
            )
        )
    if not adapter.has_glass and adapter.magnification != 1:
        problems.append(
            Problem(
                code="magnifies-without-glass",
                field="magnification",
                value=adapter.magnification,
                says=f"An adapter without glass cannot magnify ×{adapter.magnification:g}.",
                remedy="Give has_glass as true, or magnification as 1.",
            )
        )
    return problems


_CHECKS: dict[type, Callable] = {Lens: _check_lens, Filter: _check_filter, Adapter: _check_adapter}
