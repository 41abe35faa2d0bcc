"""The filters of the look-up page and the reader's camera."""

from __future__ import annotations

from django import forms

from registry.gear.models import Mount
from registry.optics.stops import FULL_STOPS, check_f_number

KINDS = (("", "any"), ("prime", "prime"), ("zoom", "zoom"))
CONFIDENCES = (("", "any"), ("firm", "firm"), ("fair", "fair or firm"), ("tentative", "any verdict"))
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


class LookUpForm(CameraForm):
    """Name and filters; all combine, and all stand in the page's address."""

    q = forms.CharField(label="Lens", required=False, max_length=160)
    kind = forms.ChoiceField(label="Kind", required=False, choices=KINDS)
    focal_mm = forms.FloatField(
        label="Covers focal length, mm",
        required=False,
        min_value=1,
        max_value=3000,
        widget=forms.NumberInput(attrs={"step": "any"}),
    )
    thread = forms.FloatField(
        label="Filter thread, mm",
        required=False,
        min_value=10,
        max_value=200,
        widget=forms.NumberInput(attrs={"step": "any"}),
    )
    clean_to = forms.ChoiceField(
        label="Clean to at least",
        required=False,
        choices=[
            ("", "any"),
            *((stop.mark, f"f/{stop.mark}") for stop in FULL_STOPS if 1 <= float(stop.mark) <= 32),
        ],
    )
    confidence = forms.ChoiceField(label="Confidence", required=False, choices=CONFIDENCES)
    untested = forms.ChoiceField(
        label="Lenses nobody has tested",
        required=False,
        choices=[("", "shown"), ("hide", "left out"), ("only", "only these")],
    )

    def clean_clean_to(self) -> float | None:
        typed = self.cleaned_data["clean_to"]
        return check_f_number(typed, "clean_to") if typed else None
