"""Completing what the catalogue lacks of a lens."""

from __future__ import annotations

from django import forms
from django.utils.text import capfirst

from registry.gear.models import FilterSeat, Lens, Mount
from registry.gear.rules import lacking_facts
from registry.pages.forms.gear import number
from registry.pages.templatetags.gear import fact_words

HELP = {
    "filter_thread_mm": "Printed on the rim with a ⌀, such as ⌀67. Leave it empty where a filter goes elsewhere.",
    "narrowest_f": "Such as 16 or 22; on a zoom, the one at its short end.",
    "mass_g": "Without caps and hood.",
}


class LackingFactsForm(forms.Form):
    """One field for each fact that nobody stated, and one for where they are from."""

    def __init__(self, *args, lens: Lens, **kwargs):
        super().__init__(*args, **kwargs)
        for fact in lacking_facts(lens):
            self.fields[fact] = self._mounts() if fact == "mounts" else self._number(fact)
            if fact == "filter_thread_mm":
                self.fields["filter_seat"] = forms.ChoiceField(
                    label="Or where else a filter goes",
                    required=False,
                    choices=[("", "not stated"), *FilterSeat.choices[1:]],
                )
        self.fields["source"] = forms.CharField(
            label="Where you have it from",
            max_length=300,
            help_text="“Read off the lens”, “weighed on kitchen scales”, a handbook’s page, a data sheet’s address.",
        )

    def facts(self) -> dict:
        """What was filled in, by the names of the catalogue's facts."""
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if name != "source" and value not in ("", None, [])
        }

    @staticmethod
    def _number(fact: str) -> forms.CharField:
        return number(capfirst(fact_words(fact)), help_text=HELP.get(fact, ""))

    @staticmethod
    def _mounts() -> forms.MultipleChoiceField:
        names = Mount.objects.values_list("name", "name")
        return forms.MultipleChoiceField(
            label="Mounts", required=False, choices=names, widget=forms.CheckboxSelectMultiple
        )
