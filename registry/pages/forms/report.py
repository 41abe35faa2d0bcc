"""The first page of filing a report: what was tested, with what. The services check it; this only asks."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from registry.accounts.models import Account
from registry.gear.models import Adapter, Body, Filter, Lens, Teleconverter
from registry.pages.forms.gear import filter_on_the_lens
from registry.pages.forms.lens_named import LensNamedForm
from registry.reports.models import Basis, ConversionKind, FilterPosition, Report, Rig

NEW_RIG = "new"

# What the services call a field → the field of the form that asks for it.
FIELD_NAMES = {
    "lens": "lens_name",
    "rig.body": "body",
    "rig.conversion": "conversion",
    "rig.cut_on_nm": "cut_on_nm",
    "copy.label": "copy_label",
    "copy.serial_number": "serial_number",
}


class StartForm(LensNamedForm):
    """Lens, rig, filter, light and target of one test."""

    copy_label = forms.CharField(
        label="Which copy",
        required=False,
        max_length=80,
        help_text="Only if you have tested more than one, such as “my second”.",
    )
    serial_number = forms.CharField(
        label="Serial number",
        required=False,
        max_length=60,
        help_text="Never stored or shown: only a one-way code of it, which tells whether two people tested one copy.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    teleconverter = forms.ModelChoiceField(
        Teleconverter.objects.none(), required=False, to_field_name="slug", empty_label="none"
    )
    adapter = forms.ModelChoiceField(
        Adapter.objects.none(), required=False, to_field_name="slug", empty_label="none"
    )
    rig = forms.ChoiceField(label="Your camera", widget=forms.RadioSelect)
    body = forms.CharField(
        label="Camera body",
        required=False,
        max_length=160,
        widget=forms.TextInput(attrs={"list": "bodies", "autocomplete": "off"}),
    )
    conversion = forms.ChoiceField(
        label="Conversion", required=False, choices=[("", "choose…"), *ConversionKind.choices]
    )
    cut_on_nm = forms.CharField(
        label="Conversion’s cut-on, nm",
        required=False,
        help_text="As the converter states it: 590, 630, 665, 720, 830 … Leave it empty for full spectrum.",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "class": "narrow"}),
    )
    filter = filter_on_the_lens()
    filter_position = forms.ChoiceField(
        label="Where the filter sat", required=False, choices=[("", "choose…"), *FilterPosition.choices]
    )
    target = forms.CharField(
        required=False,
        max_length=120,
        help_text="What you photographed: a matt white wall, a defocused grey card …",
    )
    light = forms.CharField(
        required=False,
        max_length=120,
        help_text="Overcast sky, open shade, a halogen lamp bounced off the ceiling …",
    )
    shot_on = forms.CharField(
        label="Day of the test",
        required=False,
        widget=forms.DateInput(attrs={"type": "date", "class": "narrow"}),
    )
    basis = forms.ChoiceField(
        label="How it was judged",
        choices=[(basis.value, basis.label) for basis in (Basis.MEASURED, Basis.GRADED)],
        initial=Basis.MEASURED,
        required=False,
        help_text="Choose “graded by eye” if the frames can’t be measured.",
    )
    accessories = forms.CharField(
        required=False,
        max_length=200,
        label="Anything else in the light path",
        help_text="A lens hood, a step-up ring …",
    )
    notes = forms.CharField(required=False, max_length=10_000, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, author: Account | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name, kind in (("teleconverter", Teleconverter), ("adapter", Adapter), ("filter", Filter)):
            self.fields[name].queryset = kind.objects.select_related("maker")
        rigs = Rig.objects.filter(owner=author).select_related("body__maker") if author else []
        own = [(rig.public_id, str(rig) + (f" ({rig.label})" if rig.label else "")) for rig in rigs]
        self.has_rigs = bool(own)
        self.fields["rig"].choices = [*own, (NEW_RIG, "another camera" if own else "describe it below")]
        self.fields["rig"].initial = own[0][0] if own else NEW_RIG
        if not own:
            self.fields["rig"].widget = forms.HiddenInput()

    @classmethod
    def of(cls, report: Report, data: Any = None) -> StartForm:
        """The form filled in with what a report says; data: what was sent instead."""
        slugs = {
            name: item.slug if (item := getattr(report, name)) else None
            for name in ("lens", "filter", "teleconverter", "adapter")
        }
        said = {
            name: getattr(report, name)
            for name in ("basis", "filter_position", "target", "light", "accessories", "notes")
        }
        said["shot_on"] = report.shot_on.isoformat() if report.shot_on else ""
        equipment = {
            "lens_name": str(report.lens),
            "rig": report.rig.public_id if report.rig else NEW_RIG,
            "copy_label": report.copy.label if report.copy else "",
        }
        return cls(data, initial=slugs | said | equipment, author=report.author)

    @classmethod
    def planned(cls, said: Mapping[str, str], author: Account) -> StartForm:
        """The form as far as an address says what is to be tested: a lens by slug or name, and a shot list's fields."""
        lens = Lens.objects.select_related("maker").filter(slug=said.get("lens", "")).first()
        known = {name: said[name] for name in ("filter", "teleconverter", "adapter") if name in said}
        described = {name: said[name] for name in ("conversion", "cut_on_nm") if name in said}
        form = cls(initial=known | described, author=author)
        form.initial |= {
            "lens": lens.slug if lens else "",
            "lens_name": str(lens or said.get("lens", "")[:160]),
        }
        own = {key for key, _ in form.fields["rig"].choices}
        if (rig := said.get("rig", NEW_RIG if described else "")) in own:
            form.initial["rig"] = rig
        return form

    def offer_lens(self, slug: str) -> None:
        """Fill in another lens, to be looked at before it is kept; an unknown one leaves all as it is."""
        if lens := Lens.objects.select_related("maker").filter(slug=slug).first():
            self.initial |= {"lens": lens.slug, "lens_name": str(lens)}

    def clean_filter(self) -> str | None:
        chosen = self.cleaned_data["filter"]
        return chosen.slug if chosen else None

    def details(self) -> dict[str, Any]:
        """What registry.reports.services.start_draft and change_draft take, but for the author."""
        typed = self.cleaned_data
        new_rig = {"body": typed["body"], "conversion": typed["conversion"], "cut_on_nm": typed["cut_on_nm"]}
        return {
            "basis": typed["basis"] or Basis.MEASURED,
            "lens": typed["lens"] or typed["lens_name"],
            "rig": new_rig if typed["rig"] == NEW_RIG else typed["rig"],
            "copy": {"label": typed["copy_label"], "serial_number": typed["serial_number"]},
            "filter": typed["filter"],
            "filter_position": typed["filter_position"],
        } | {
            name: typed[name]
            for name in ("teleconverter", "adapter", "target", "light", "shot_on", "accessories", "notes")
        }


def bodies_to_suggest() -> list[str]:
    """Names for the body field's suggestions; a longer catalogue is completed by typing the name."""
    return [str(body) for body in Body.objects.select_related("maker")[:400]]
