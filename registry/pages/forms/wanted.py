"""Narrowing the list of wanted tests; every choice stands in the address."""

from __future__ import annotations

from typing import Any

from django import forms

from registry.consensus.cells import BANDS, band_label
from registry.gear.models import Mount


class WantedForm(forms.Form):
    mount = forms.ModelChoiceField(
        Mount.objects.all(), label="Mount", required=False, to_field_name="slug", empty_label="any mount"
    )
    cut_on = forms.ChoiceField(
        label="Wavelength",
        required=False,
        choices=[("", "any"), *((band, band_label(band)) for band in BANDS)],
    )
    reserved = forms.ChoiceField(
        label="Reserved tests",
        required=False,
        choices=[("", "shown"), ("no", "left out"), ("yes", "only these")],
    )

    def asked(self) -> dict[str, Any]:
        """What the address asks for, as registry.wanted.queries.wanted_tests takes it."""
        typed = self.cleaned_data if self.is_valid() else {}
        mount = typed.get("mount")
        return {
            "mount": mount.slug if mount else None,
            "cut_on_group": typed.get("cut_on") or None,
            "reserved": {"yes": True, "no": False}.get(typed.get("reserved", "")),
        }
