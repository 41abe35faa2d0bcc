"""The reader's camera, and how the filters of the look-up page are shown: each choice with its count."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django import forms

from registry.gear.models import Mount
from registry.standings.queries import Criteria, Facets

WAVELENGTH_HINT = "A number of nanometres from 400 to 1100."


class CameraForm(forms.Form):
    """What a reader looks through."""

    mount = forms.ModelChoiceField(
        Mount.objects.all(), label="Mount", required=False, to_field_name="slug", empty_label="any mount"
    )
    cut_on_nm = forms.FloatField(
        label="Cut-on, nm",
        required=False,
        min_value=400,
        max_value=1100,
        widget=forms.NumberInput(attrs={"list": "cut-ons", "inputmode": "decimal", "step": "any"}),
        error_messages={
            "invalid": WAVELENGTH_HINT,
            "min_value": WAVELENGTH_HINT,
            "max_value": WAVELENGTH_HINT,
        },
    )
    visible_ev = forms.FloatField(
        label="My tolerance, EV",
        required=False,
        min_value=0.03,
        max_value=0.30,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "0.01"}),
    )

    def asked(self) -> dict:
        """What the address asks for, as registry.pages.camera.seen_through reads it."""
        typed = self.cleaned_data if self.is_valid() else {}
        mount = typed.get("mount")
        return {
            "mount": mount.slug if mount else ("" if "mount" in self.data else None),
            "cut_on_nm": typed.get("cut_on_nm"),
            "visible_ev": typed.get("visible_ev"),
        }


@dataclass(frozen=True)
class Option:
    """One choice of a filter. count: lenses that it would leave; None where that says nothing."""

    value: str
    words: str
    count: int | None
    chosen: bool


@dataclass(frozen=True)
class Select:
    """A filter as a list of choices."""

    name: str
    label: str
    options: tuple[Option, ...]


ANY = {
    "mount": "any mount",
    "kind": "any",
    "thread": "any",
    "clean_to": "any",
    "confidence": "any",
    "untested": "shown",
}
LABELS = {
    "mount": "My mount",
    "kind": "Kind",
    "thread": "Filter thread",
    "clean_to": "Clean to at least",
    "confidence": "Confidence",
    "untested": "Lenses nobody has tested",
}
WORDS: dict[str, Callable] = {
    "thread": lambda value: f"{value:g} mm",
    "clean_to": lambda value: f"f/{value:g}",
    "confidence": {"firm": "firm", "fair": "fair or firm", "tentative": "any verdict"}.get,
    "untested": {"hide": "left out", "only": "only these"}.get,
}
ORDERS = {
    "": "name, or likeness to what is searched",
    "clean-limit": "clean limit, furthest first",
    "confidence": "confidence",
    "focal-length": "focal length",
    "thread": "filter thread",
}


def selects(criteria: Criteria, facets: Facets) -> dict[str, Select]:
    """Every filter that has choices, by its name, and the order of the list."""
    mounts = dict(Mount.objects.values_list("slug", "name"))
    shown = {
        name: Select(name, LABELS[name], _options(name, getattr(criteria, name), facets, mounts))
        for name in ANY
    }
    orders = tuple(Option(key, words, None, key == (criteria.order or "")) for key, words in ORDERS.items())
    return shown | {"order": Select("order", "In order of", orders)}


def _options(name: str, chosen, facets: Facets, mounts: dict[str, str]) -> tuple[Option, ...]:
    words = WORDS.get(name, str) if name != "mount" else mounts.get
    options = [Option("", ANY[name], facets.without[name], not chosen)]
    options += [
        Option(_written(choice.value), words(choice.value), choice.count, choice.value == chosen)
        for choice in facets.choices[name]
    ]
    if chosen and not any(option.chosen for option in options):  # typed into the address: no lens has it
        options.append(Option(_written(chosen), words(chosen), 0, True))
    return tuple(options)


def _written(value: str | float) -> str:
    return value if isinstance(value, str) else f"{value:g}"
