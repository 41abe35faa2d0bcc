"""A lens as people name it, and the one of the catalogue that they then chose."""

from __future__ import annotations

from django import forms


class LensNamedForm(forms.Form):
    lens_name = forms.CharField(
        label="Lens",
        max_length=160,
        help_text="As you would say it: “35 1.4”, with or without the maker.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    lens = forms.CharField(required=False, widget=forms.HiddenInput)
