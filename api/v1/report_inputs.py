"""What a report may be sent with, for the reference. The rules themselves, unknown fields included, are
registry.reports.services.file_report's, which names every problem at once with its path."""

from __future__ import annotations

from rest_framework import serializers

from registry.reports.models import (
    Basis,
    ClaimSays,
    ConversionKind,
    FilterPosition,
    FindingKind,
    ImagePurpose,
    SummarySays,
)
from registry.reports.rules import LIGHT_GROUPS
from registry.reports.rules.details import LICENCES


class ReadingInput(serializers.Serializer):
    f_number = serializers.FloatField(
        help_text="As marked: full, half or third stops, or the lens's own widest."
    )
    grade = serializers.IntegerField(
        required=False, min_value=0, max_value=4, help_text="0 none … 4 dominating."
    )
    excess_ev = serializers.FloatField(required=False, help_text="Measured excess over the falloff, EV.")
    excess_se = serializers.FloatField(required=False, help_text="Its standard error, EV.")
    from_exif = serializers.BooleanField(
        required=False, help_text="Take the f-number as the camera wrote it."
    )


class SweepInput(serializers.Serializer):
    focal_length_mm = serializers.FloatField(required=False, help_text="Needed for zooms.")
    focus_distance_m = serializers.FloatField(required=False)
    readings = ReadingInput(many=True)


class ClaimInput(serializers.Serializer):
    says = serializers.ChoiceField(choices=ClaimSays.choices)
    f_number = serializers.FloatField(required=False, help_text="For clean_to and hot_from.")
    focal_length_mm = serializers.FloatField(required=False)
    from_exif = serializers.BooleanField(required=False)


class OwnSummaryInput(serializers.Serializer):
    """What you would say of the lens yourself. No evidence; where it contradicts what was measured, the report goes in
    only once you send stands."""

    says = serializers.ChoiceField(choices=SummarySays.choices)
    f_number = serializers.FloatField(required=False, help_text="For clean_to and hot_from.")
    stands = serializers.BooleanField(
        required=False, help_text="You looked again, and stand by it against the measurement."
    )
    answer = serializers.CharField(required=False, max_length=300, help_text="Why; shown with the report.")


class FindingInput(serializers.Serializer):
    kind = serializers.ChoiceField(choices=FindingKind.choices)
    grade = serializers.IntegerField(min_value=0, max_value=4)
    note = serializers.CharField(required=False, max_length=300)


class ImageReference(serializers.Serializer):
    image = serializers.CharField(help_text="Id of a picture that you uploaded before.")
    f_number = serializers.FloatField(required=False)
    focal_length_mm = serializers.FloatField(required=False)
    grade = serializers.IntegerField(required=False, min_value=0, max_value=4)
    purpose = serializers.ChoiceField(choices=ImagePurpose.choices, required=False)
    from_exif = serializers.BooleanField(required=False)


class RigDescription(serializers.Serializer):
    body = serializers.CharField()
    conversion = serializers.ChoiceField(choices=ConversionKind.choices)
    cut_on_nm = serializers.FloatField(required=False)
    label = serializers.CharField(required=False)


class CopyDescription(serializers.Serializer):
    label = serializers.CharField(required=False)
    serial_number = serializers.CharField(required=False, help_text="Kept only as a keyed hash.")


class ReportChanges(serializers.Serializer):
    """Any part of a report. Lists that are sent replace what was there."""

    lens = serializers.CharField(required=False, help_text="Slug or name.")
    basis = serializers.ChoiceField(choices=Basis.choices, required=False)
    teleconverter = serializers.CharField(required=False)
    adapter = serializers.CharField(required=False)
    body = serializers.CharField(required=False, help_text="For relays; own tests have their rig's.")
    filter = serializers.CharField(required=False)
    filter_position = serializers.ChoiceField(choices=FilterPosition.choices, required=False)
    rig = RigDescription(required=False, help_text="A description, or the id of one of your rigs.")
    copy = CopyDescription(required=False, help_text="A description, or the id of one of your copies.")
    cut_on_nm = serializers.FloatField(required=False, help_text="For relays; own tests have their rig's.")
    light_group = serializers.ChoiceField(choices=sorted(LIGHT_GROUPS), required=False)
    accessories = serializers.CharField(required=False, max_length=200)
    target = serializers.CharField(required=False, max_length=120)
    light = serializers.CharField(required=False, max_length=120)
    place = serializers.CharField(required=False, max_length=120)
    notes = serializers.CharField(required=False)
    shot_on = serializers.DateField(required=False)
    licence = serializers.ChoiceField(choices=LICENCES, required=False)
    citation_url = serializers.URLField(required=False)
    citation_title = serializers.CharField(required=False, max_length=300)
    citation_author = serializers.CharField(required=False, max_length=120)
    citation_date = serializers.DateField(required=False)
    citation_archive_url = serializers.URLField(required=False)
    tester_name = serializers.CharField(required=False, max_length=120)
    sweeps = SweepInput(many=True, required=False)
    claims = ClaimInput(many=True, required=False)
    own_summary = OwnSummaryInput(required=False, allow_null=True)
    findings = FindingInput(many=True, required=False)
    images = ImageReference(many=True, required=False)


class ReportInput(ReportChanges):
    lens = serializers.CharField(help_text="Slug or name; an unknown one is answered with the nearest known.")
    basis = serializers.ChoiceField(choices=Basis.choices)
    submit = serializers.BooleanField(
        default=False, help_text="Submit it now, or, where frames are still to be measured, once they are."
    )


class ReportWithFrames(serializers.Serializer):
    """The multipart form: the report as JSON, and its frames."""

    report = serializers.CharField(help_text="The report as JSON, as in the application/json form.")
    frames = serializers.ListField(child=serializers.FileField(), required=False)


class ReportRevisionInput(ReportChanges):
    reason = serializers.CharField(required=False, help_text="Needed once the report is submitted.")
