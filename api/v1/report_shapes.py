"""Shapes of a report, its evidence and its frames as anyone may read them."""

from __future__ import annotations

from django.core.files.storage import default_storage
from rest_framework import serializers

from registry.accounts.models import Account
from registry.reports.models import (
    Basis,
    Claim,
    ClaimSays,
    FilterPosition,
    Finding,
    FindingKind,
    ImagePurpose,
    ImageState,
    OwnSummary,
    Reading,
    Reply,
    Report,
    ReportRevision,
    ReportState,
    SampleImage,
    SummarySays,
    Sweep,
)
from registry.reports.queries import overlay_of

OWNERS_ONLY = ("file_name", "byte_size", "exif", "problem")


class PersonSerializer(serializers.ModelSerializer):
    id = serializers.CharField(source="public_id", read_only=True)

    class Meta:
        model = Account
        fields = ["id", "name"]
        read_only_fields = fields


class ReadingSerializer(serializers.ModelSerializer):
    """One frame's result: a measured excess (EV) with its standard error, or a grade by eye, 0 to 4."""

    image = serializers.SlugRelatedField("public_id", read_only=True, allow_null=True)

    class Meta:
        model = Reading
        fields = [
            "f_number", "av", "excess_ev", "excess_se", "radius", "tint_rg", "tint_bg", "grade", "image",
            "method_version",
        ]  # fmt: skip
        read_only_fields = fields


class SweepSerializer(serializers.ModelSerializer):
    readings = ReadingSerializer(many=True, read_only=True)

    class Meta:
        model = Sweep
        fields = ["focal_length_mm", "focus_distance_m", "repeatability_ev", "readings"]
        read_only_fields = fields


class ClaimSerializer(serializers.ModelSerializer):
    says = serializers.ChoiceField(choices=ClaimSays.choices, read_only=True)

    class Meta:
        model = Claim
        fields = ["says", "f_number", "focal_length_mm"]
        read_only_fields = fields


class OwnSummarySerializer(serializers.ModelSerializer):
    """What the author would say themselves, compared with the measurement; no evidence."""

    says = serializers.ChoiceField(choices=SummarySays.choices, read_only=True)
    contradicts = serializers.ListField(
        child=serializers.CharField(),
        read_only=True,
        help_text="What was measured against it when they stood by it.",
    )

    class Meta:
        model = OwnSummary
        fields = ["says", "f_number", "stands", "answer", "contradicts"]
        read_only_fields = fields


class FindingSerializer(serializers.ModelSerializer):
    kind = serializers.ChoiceField(choices=FindingKind.choices, read_only=True)

    class Meta:
        model = Finding
        fields = ["kind", "grade", "note"]
        read_only_fields = fields


class RevisionSerializer(serializers.ModelSerializer):
    by = PersonSerializer(read_only=True)

    class Meta:
        model = ReportRevision
        fields = ["number", "reason", "by", "at"]
        read_only_fields = fields


class ReplySerializer(serializers.ModelSerializer):
    """An answer on a report by its author or a moderator; `about` is the report's state when it was given."""

    by = PersonSerializer(read_only=True)
    about = serializers.ChoiceField(choices=ReportState.choices, read_only=True)

    class Meta:
        model = Reply
        fields = ["by", "says", "about", "about_reason", "at"]
        read_only_fields = fields


class ProfileSerializer(serializers.Serializer):
    """Azimuthal means around the patch's centre; radius in half-diagonals, the rest in EV."""

    radius = serializers.ListField(child=serializers.FloatField())
    excess = serializers.ListField(child=serializers.FloatField(allow_null=True))
    low = serializers.ListField(child=serializers.FloatField(allow_null=True))
    high = serializers.ListField(child=serializers.FloatField(allow_null=True))
    baseline = serializers.ListField(child=serializers.FloatField(allow_null=True))


class RefusalSerializer(serializers.Serializer):
    """Why a frame could not be judged: what was found, and the limit."""

    code = serializers.CharField()
    number = serializers.FloatField(allow_null=True)
    limit = serializers.FloatField(allow_null=True)
    unit = serializers.CharField(allow_blank=True)
    says = serializers.CharField()


class MeasurementSerializer(serializers.Serializer):
    """What was measured in a frame; positions and radii in half-diagonals, excesses in EV."""

    status = serializers.CharField()
    ev = serializers.FloatField(allow_null=True)
    ev_se = serializers.FloatField(allow_null=True)
    ev_low = serializers.FloatField(allow_null=True)
    ev_high = serializers.FloatField(allow_null=True)
    peak_ev = serializers.FloatField(allow_null=True)
    radius = serializers.FloatField(allow_null=True)
    centre = serializers.ListField(child=serializers.FloatField(), allow_null=True)
    tint_rg = serializers.FloatField(allow_null=True)
    tint_bg = serializers.FloatField(allow_null=True)
    probability_of_patch = serializers.FloatField(allow_null=True)
    refusal = RefusalSerializer(allow_null=True)
    notes = serializers.ListField(child=serializers.CharField())
    method_version = serializers.CharField()


class MeasurementWithProfileSerializer(MeasurementSerializer):
    profile = ProfileSerializer(allow_null=True)


class ImageSerializer(serializers.ModelSerializer):
    """A frame. File name, size, EXIF and what was wrong with the file are shown to its owner only, and null to
    others; the uploaded file itself is kept by nobody."""

    id = serializers.CharField(source="public_id", read_only=True)
    report = serializers.SlugRelatedField("public_id", read_only=True, allow_null=True)
    purpose = serializers.ChoiceField(choices=ImagePurpose.choices, read_only=True)
    state = serializers.ChoiceField(choices=ImageState.choices, read_only=True)
    state_words = serializers.CharField(source="get_state_display", read_only=True)
    picture = serializers.SerializerMethodField(help_text="Address of the re-encoded picture.")
    thumbnail = serializers.SerializerMethodField()
    measurement = serializers.SerializerMethodField()
    file_name = serializers.CharField(read_only=True, allow_null=True)
    byte_size = serializers.IntegerField(read_only=True, allow_null=True)

    class Meta:
        model = SampleImage
        fields = [
            "id", "report", "purpose", "state", "state_words", "kind", "width", "height", "f_number",
            "focal_length_mm", "grade", "picture", "thumbnail", "measurement", "created_at", *OWNERS_ONLY,
        ]  # fmt: skip
        read_only_fields = fields

    def get_picture(self, image: SampleImage) -> str | None:
        return self._address(image.picture)

    def get_thumbnail(self, image: SampleImage) -> str | None:
        return self._address(image.thumbnail)

    def get_measurement(self, image: SampleImage) -> MeasurementSerializer(allow_null=True):
        found = overlay_of(image)
        return MeasurementSerializer(found.to_dict()).data if found else None

    def to_representation(self, image: SampleImage) -> dict:
        shown = super().to_representation(image)
        if image.owner_id != getattr(self.context["request"].user, "pk", None):
            shown |= dict.fromkeys(OWNERS_ONLY)
        return shown

    def _address(self, name: str) -> str | None:
        return self.context["request"].build_absolute_uri(default_storage.url(name)) if name else None


class ImageWithProfileSerializer(ImageSerializer):
    """As in lists, with the radial profile that its overlay is drawn from."""

    def get_measurement(self, image: SampleImage) -> MeasurementWithProfileSerializer(allow_null=True):
        found = overlay_of(image)
        return MeasurementWithProfileSerializer(found.to_dict()).data if found else None


class ReportRowSerializer(serializers.ModelSerializer):
    """A report in a list. What is not stated is null."""

    NULL_IF_EMPTY = ("filter_position", "citation_url", "citation_archive_url")

    id = serializers.CharField(source="public_id", read_only=True)
    author = PersonSerializer(read_only=True)
    lens = serializers.SlugRelatedField("slug", read_only=True)
    state = serializers.ChoiceField(choices=ReportState.choices, read_only=True)
    basis = serializers.ChoiceField(choices=Basis.choices, read_only=True)
    filter_position = serializers.ChoiceField(choices=FilterPosition.choices, read_only=True, allow_null=True)
    teleconverter = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)
    adapter = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)
    body = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)
    filter = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)

    class Meta:
        model = Report
        fields = [
            "id", "state", "state_reason", "basis", "author", "lens", "teleconverter", "adapter", "body", "filter",
            "filter_position", "cut_on_nm", "light_group", "tester_name", "shot_on", "licence", "revision",
            "submitted_at",
        ]  # fmt: skip
        read_only_fields = fields

    def to_representation(self, report: Report) -> dict:
        shown = super().to_representation(report)
        return shown | {name: shown[name] or None for name in self.NULL_IF_EMPTY if name in shown}


class ReportSerializer(ReportRowSerializer):
    """A report whole: its evidence, frames and revisions."""

    citation_url = serializers.URLField(read_only=True, allow_null=True)
    citation_archive_url = serializers.URLField(read_only=True, allow_null=True)

    rig = serializers.SlugRelatedField("public_id", read_only=True, allow_null=True)
    copy = serializers.SlugRelatedField("public_id", read_only=True, allow_null=True)
    sweeps = SweepSerializer(many=True, read_only=True)
    claims = ClaimSerializer(many=True, read_only=True)
    own_summary = OwnSummarySerializer(read_only=True, allow_null=True)
    findings = FindingSerializer(many=True, read_only=True)
    images = ImageSerializer(many=True, read_only=True)
    revisions = RevisionSerializer(many=True, read_only=True)
    replies = ReplySerializer(many=True, read_only=True)

    class Meta:
        model = Report
        fields = [
            *ReportRowSerializer.Meta.fields,
            "rig", "copy", "accessories", "target", "light", "place", "notes",
            "citation_url", "citation_title", "citation_author", "citation_date", "citation_archive_url",
            "submit_when_measured", "submit_problems", "sweeps_due",
            "sweeps", "claims", "own_summary", "findings", "images", "revisions", "replies", "created_at",
        ]  # fmt: skip
        read_only_fields = fields
