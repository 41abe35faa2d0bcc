"""Proposing a lens that the catalogue lacks."""

from __future__ import annotations

from django import forms

from registry.gear.models import FilterSeat, Mount, Projection


class ProposeLensForm(forms.Form):
    """The facts that fit on a lens's barrel. Values go to the service as typed."""

    maker = forms.CharField(
        max_length=60, widget=forms.TextInput(attrs={"list": "makers", "autocomplete": "off"})
    )
    new_maker = forms.BooleanField(label="The catalogue does not have this maker yet", required=False)
    name = forms.CharField(
        label="Name as printed, without the maker", max_length=120, help_text="Such as “Marram 35 mm f/1.4”."
    )
    optical_revision = forms.CharField(
        label="Optical revision",
        required=False,
        max_length=30,
        help_text="Such as “II”, if there are several designs of one name.",
    )
    mounts = forms.ModelMultipleChoiceField(
        Mount.objects.all(), to_field_name="slug", required=False, widget=forms.CheckboxSelectMultiple
    )
    focal_min_mm = forms.FloatField(
        label="Focal length, mm", min_value=1, max_value=3000, help_text="A zoom’s shortest."
    )
    focal_max_mm = forms.FloatField(
        label="A zoom’s longest, mm",
        required=False,
        min_value=1,
        max_value=3000,
        help_text="Leave it empty for a prime.",
    )
    widest_f = forms.FloatField(label="Widest f-number", min_value=0.7, max_value=64)
    widest_f_tele = forms.FloatField(
        label="A zoom’s widest at its long end",
        required=False,
        min_value=0.7,
        max_value=64,
        help_text="Leave it empty where it is the same.",
    )
    narrowest_f = forms.FloatField(label="Narrowest f-number", required=False, min_value=0.7, max_value=64)
    projection = forms.ChoiceField(choices=Projection.choices)
    filter_seat = forms.ChoiceField(label="Where a filter can sit", choices=FilterSeat.choices)
    filter_thread_mm = forms.FloatField(
        label="Filter thread, mm", required=False, min_value=10, max_value=200
    )
    source = forms.CharField(
        label="Where these facts are from",
        required=False,
        max_length=300,
        help_text="“Read off the lens” is a good source.",
    )

    def facts(self) -> dict:
        """The arguments of registry.gear.services.propose_lens; what was left empty is left out."""
        facts = {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
        facts["mounts"] = [mount.slug for mount in self.cleaned_data["mounts"]]
        return facts
