"""What proposed gear may be described with, for the reference. The rules are registry.gear.services' own."""

from __future__ import annotations

from rest_framework import serializers

from registry.gear.models import FilterSeat, Passes, Projection


class Proposal(serializers.Serializer):
    maker = serializers.CharField(help_text="Name of the maker.")
    name = serializers.CharField()
    new_maker = serializers.BooleanField(default=False, help_text="Whether an unknown maker is added.")
    source = serializers.CharField(required=False, help_text="Where these facts are from.")
    licence = serializers.CharField(required=False, help_text="Licence of that source.")


class LensProposal(Proposal):
    optical_revision = serializers.CharField(required=False)
    mounts = serializers.ListField(
        child=serializers.CharField(), required=False, help_text="Names of mounts."
    )
    aliases = serializers.ListField(
        child=serializers.CharField(), required=False, help_text="Other spellings."
    )
    focal_min_mm = serializers.FloatField()
    focal_max_mm = serializers.FloatField(required=False, help_text="As the shortest unless stated.")
    widest_f = serializers.FloatField(help_text="As marked, at the short end.")
    widest_f_tele = serializers.FloatField(required=False, help_text="As marked, at the long end.")
    narrowest_f = serializers.FloatField(required=False)
    projection = serializers.ChoiceField(choices=Projection.choices, required=False)
    filter_thread_mm = serializers.FloatField(required=False)
    filter_seat = serializers.ChoiceField(choices=FilterSeat.choices, required=False)
    image_circle_mm = serializers.FloatField(required=False)
    mass_g = serializers.FloatField(required=False)
    length_mm = serializers.FloatField(required=False)
    year = serializers.IntegerField(required=False)


class BodyProposal(Proposal):
    mount = serializers.CharField(required=False, help_text="Name of the mount.")
    sensor_width_mm = serializers.FloatField(required=False)
    sensor_height_mm = serializers.FloatField(required=False)
    megapixels = serializers.FloatField(required=False)
    year = serializers.IntegerField(required=False)
    exif_model = serializers.CharField(required=False, help_text="As the camera writes its model into EXIF.")


class FilterProposal(Proposal):
    passes = serializers.ChoiceField(choices=Passes.choices, required=False)
    cut_on_nm = serializers.FloatField()
    cut_off_nm = serializers.FloatField(required=False, help_text="Needed for band-pass filters.")
