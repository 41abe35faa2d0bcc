"""What a report says, as typed by hand: readings, and coarse statements."""

from __future__ import annotations

from typing import Any

from django import forms

from registry.pages.forms.check import GRADES
from registry.reports.models import Claim, ClaimSays, Reading

NUMBER = {"inputmode": "decimal", "class": "narrow", "autocomplete": "off"}


def number(label: str) -> forms.CharField:
    """A number as typed: the service reads it, so that it can quote it when it can't be."""
    return forms.CharField(label=label, required=False, max_length=20, widget=forms.TextInput(attrs=NUMBER))


class ClaimForm(forms.Form):
    """One coarse statement. Left empty, it states nothing."""

    says = forms.ChoiceField(
        label="The result", required=False, choices=[("", "choose…"), *ClaimSays.choices]
    )
    f_number = number("f-number")
    focal_length_mm = number("Focal length, mm")

    @classmethod
    def of(cls, claim: Claim | None, prefix: str, data: Any = None) -> ClaimForm:
        said = {} if claim is None else {name: getattr(claim, name) for name in cls.base_fields}
        return cls(data, initial={name: _typed(value) for name, value in said.items()}, prefix=prefix)

    def content(self) -> dict[str, Any] | None:
        """The claim as the services take it; None where nothing is stated."""
        typed = {name: self.cleaned_data[name] for name in self.fields}
        return typed if any(typed.values()) else None


class ReadingForm(forms.Form):
    """One reading that was typed by hand."""

    f_number = number("f-number")
    grade = forms.ChoiceField(label="Graded by eye", required=False, choices=[("", "not graded"), *GRADES])
    excess_ev = number("Excess, EV")
    excess_se = number("Standard error, EV")
    remove = forms.BooleanField(label="Take it out", required=False)

    @classmethod
    def of(cls, reading: Reading, data: Any = None) -> ReadingForm:
        said = {name: getattr(reading, name) for name in ("f_number", "grade", "excess_ev", "excess_se")}
        form = cls(
            data,
            initial={name: _typed(value) for name, value in said.items()},
            prefix=f"reading-{reading.pk}",
        )
        if reading.excess_ev is None:
            del form.fields["excess_ev"], form.fields["excess_se"]
        return form

    def content(self) -> dict[str, Any] | None:
        """The reading as the services take it; None where it is to go. An f-number left alone is not questioned:
        a camera may have written it."""
        if self.cleaned_data["remove"]:
            return None
        typed = {name: self.cleaned_data[name] for name in self.fields if name != "remove"}
        return typed | ({} if "f_number" in self.changed_data else {"from_exif": True})


def _typed(value: Any) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
