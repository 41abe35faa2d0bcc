"""With what a lens is to be tested: asked for in the address, so that a shot list can be linked to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.urls import reverse

from registry.accounts.models import Account
from registry.gear.models import Adapter, Filter, Teleconverter
from registry.pages.camera import Camera
from registry.pages.forms.evidence import NUMBER
from registry.pages.forms.gear import filter_on_the_lens
from registry.reports.models import ConversionKind, Report, Rig

GEAR = {"filter": Filter, "teleconverter": Teleconverter, "adapter": Adapter}


class PlanForm(forms.Form):
    """Rig or conversion, filter and glass. Values go to the rule as typed, so that it can quote them."""

    rig = forms.ChoiceField(label="Your camera", required=False)
    conversion = forms.ChoiceField(
        label="Camera’s conversion", required=False, choices=[("", "not said"), *ConversionKind.choices]
    )
    cut_on_nm = forms.CharField(
        label="Conversion’s cut-on, nm", required=False, max_length=20, widget=forms.TextInput(attrs=NUMBER)
    )
    filter = filter_on_the_lens()
    teleconverter = forms.ModelChoiceField(
        Teleconverter.objects.none(), required=False, to_field_name="slug", empty_label="none"
    )
    adapter = forms.ModelChoiceField(
        Adapter.objects.none(), required=False, to_field_name="slug", empty_label="none"
    )

    def __init__(self, data: Any, *, author: Account | None):
        super().__init__(data)
        for name, kind in GEAR.items():
            self.fields[name].error_messages["invalid_choice"] = f"The catalogue has no such {name}."
            self.fields[name].queryset = kind.objects.select_related("maker")
        rigs = list(rigs_of(author))
        self.fields["rig"].choices = [
            *((rig.public_id, str(rig) + (f" ({rig.label})" if rig.label else "")) for rig in rigs),
            ("", "another: described beside" if rigs else "described below"),
        ]
        self.fields["rig"].error_messages["invalid_choice"] = "You have no such camera: “%(value)s”."
        if not rigs:
            del self.fields["rig"]

    @classmethod
    def asked(cls, query: Mapping[str, Any], *, author: Account | None, remembered: Camera) -> PlanForm:
        """The form of an address; where it says nothing of a camera, the reader's own."""
        said = {name: query[name] for name in cls.base_fields if name in query}
        if not {"rig", "conversion", "cut_on_nm"} & set(said):
            said |= _own_camera(author, remembered)
        return cls(said, author=author)

    @staticmethod
    def address_of(report: Report) -> str:
        """Where the shot list of a report's lens is, with its camera, filter and glass."""
        said = {name: item.slug for name in GEAR if (item := getattr(report, name)) is not None}
        said |= {"rig": report.rig.public_id} if report.rig else {}
        return f"{reverse('shot-list', args=[report.lens.slug])}?{urlencode(said)}"

    def plan(self) -> dict[str, Any]:
        """What registry.reports.rules.planning.read_plan takes, but for the lens; call it on a valid form.

        A rig in the address of someone who has none is passed on, so that it is refused and not forgotten.
        """
        typed = {name: value for name, value in self.cleaned_data.items() if value}
        if rig := typed.get("rig") or ("rig" not in self.fields and self.data.get("rig")):
            return {name: typed[name] for name in GEAR if name in typed} | {"rig": rig}
        return typed

    def said(self) -> dict[str, str]:
        """The plan as an address says it."""
        return {name: getattr(value, "slug", value) for name, value in self.plan().items()}


def rigs_of(author: Account | None):
    return Rig.objects.filter(owner=author).select_related("body__maker") if author else ()


def _own_camera(author: Account | None, remembered: Camera) -> dict[str, str]:
    first = next(iter(rigs_of(author)), None)
    if first is not None:
        return {"rig": first.public_id}
    if remembered.chosen:
        return {"conversion": ConversionKind.LONG_PASS, "cut_on_nm": f"{remembered.cut_on_nm:g}"}
    return {}
