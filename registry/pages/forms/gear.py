"""Proposing gear that the catalogue lacks."""

from __future__ import annotations

from django import forms

from registry.gear.models import Filter, FilterSeat, Mount, Passes, Projection

DECIMAL = {"inputmode": "decimal", "class": "narrow"}


def number(label: str, *, required: bool = False, help_text: str = "") -> forms.CharField:
    """A number as typed: the service reads it, so that it can quote it when it can't be."""
    widget = forms.TextInput(attrs=DECIMAL)
    return forms.CharField(label=label, required=required, max_length=20, help_text=help_text, widget=widget)


def filter_on_the_lens() -> forms.ModelChoiceField:
    """Which filter was, or will be, on the lens; a form sets the queryset as it is made."""
    return forms.ModelChoiceField(
        Filter.objects.none(),
        label="Filter on the lens",
        required=False,
        to_field_name="slug",
        empty_label="no filter",
    )


class ProposeForm(forms.Form):
    """What every piece of gear has."""

    maker = forms.CharField(
        max_length=60, widget=forms.TextInput(attrs={"list": "makers", "autocomplete": "off"})
    )
    new_maker = forms.BooleanField(label="The catalogue does not have this maker yet", required=False)
    name = forms.CharField(label="Name as printed, without the maker", max_length=120)

    def facts(self) -> dict:
        """The arguments of the proposing services; what was left empty is left out."""
        return {name: value for name, value in self.cleaned_data.items() if value not in (None, "", [])}


class ProposeLensForm(ProposeForm):
    optical_revision = forms.CharField(
        label="Optical revision",
        required=False,
        max_length=30,
        help_text="Such as “II”, if there are several designs of one name.",
    )
    mounts = forms.MultipleChoiceField(required=False, widget=forms.CheckboxSelectMultiple)
    focal_min_mm = number("Focal length, mm", required=True, help_text="A zoom’s shortest.")
    focal_max_mm = number("A zoom’s longest, mm", help_text="Leave it empty for a prime.")
    widest_f = number("Widest f-number", required=True)
    widest_f_tele = number(
        "A zoom’s widest at its long end", help_text="Leave it empty where it is the same."
    )
    narrowest_f = number("Narrowest f-number")
    projection = forms.ChoiceField(choices=Projection.choices)
    filter_seat = forms.ChoiceField(label="Where a filter can sit", choices=FilterSeat.choices)
    filter_thread_mm = number("Filter thread, mm")
    source = forms.CharField(
        label="Where these facts are from",
        required=False,
        max_length=300,
        help_text="“Read off the lens” is a good source.",
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["mounts"].choices = Mount.objects.values_list("name", "name")


class ProposeBodyForm(ProposeForm):
    mount = forms.ChoiceField(required=False)
    sensor_width_mm = number("Sensor width, mm", help_text="36 for full frame; the manual says it.")
    sensor_height_mm = number("Sensor height, mm", help_text="24 for full frame.")
    megapixels = number("Megapixels")
    exif_model = forms.CharField(
        label="Model as the camera writes it into its files",
        required=False,
        max_length=120,
        help_text="Lets the registry recognise it in your frames.",
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        names = Mount.objects.values_list("name", "name")
        self.fields["mount"].choices = [("", "not listed"), *names]


class ProposeFilterForm(ProposeForm):
    passes = forms.ChoiceField(label="What it passes", choices=Passes.choices)
    cut_on_nm = number(
        "Cut-on, nm",
        required=True,
        help_text="Where it reaches half its peak transmittance; makers call it 720 or so.",
    )
    cut_off_nm = number("Cut-off, nm", help_text="For a band-pass filter only.")
