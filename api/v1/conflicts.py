"""Conflicts: independent evidence that the consensus can't reconcile, with what may explain it."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.resource import Catalogue, ListQuery
from api.v1.answers import CauseSerializer
from registry.standings.models import Conflict

KINDS = ("reports-differ", "suspect", "cause")


class CampMemberSerializer(serializers.Serializer):
    """One piece of evidence in a camp: what it says alone, and under which conditions it was made."""

    report = serializers.CharField()
    says = serializers.CharField()
    limit_av = serializers.FloatField(help_text="Its clean limit as an aperture value.")
    filter_position = serializers.CharField(allow_null=True)
    cut_on_nm = serializers.FloatField(allow_null=True)
    focal_mm = serializers.FloatField(allow_null=True)
    body = serializers.CharField(allow_null=True)
    method = serializers.CharField()


class ConflictSerializer(serializers.ModelSerializer):
    id = serializers.IntegerField(source="pk", read_only=True)
    lens = serializers.SlugField(source="standing.lens.slug", read_only=True)
    standing = serializers.PrimaryKeyRelatedField(read_only=True)
    cut_on_group = serializers.CharField(source="standing.cut_on_group", read_only=True)
    focal_zone = serializers.CharField(source="standing.focal_zone", read_only=True)
    explanations = CauseSerializer(many=True, read_only=True)
    camps = serializers.SerializerMethodField(help_text="The sides, by name.")

    class Meta:
        model = Conflict
        fields = [
            "id", "lens", "standing", "cut_on_group", "focal_zone", "kind", "open", "explanations", "camps",
            "opened_at", "updated_at", "closed_at", "close_reason",
        ]  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(serializers.DictField(child=CampMemberSerializer(many=True)))
    def get_camps(self, conflict: Conflict) -> dict:
        return {side: CampMemberSerializer(told, many=True).data for side, told in conflict.camps.items()}


class ConflictQuery(ListQuery):
    lens = serializers.SlugField(required=False, help_text="Slug of a lens.")
    open = serializers.BooleanField(
        required=False, allow_null=True, default=None, help_text="Both unless stated."
    )
    kind = serializers.ChoiceField(choices=KINDS, required=False)


class Conflicts(Catalogue):
    """Where reports contradict each other."""

    queryset = Conflict.objects.select_related("standing__lens").order_by("id")
    serializer_class = ConflictSerializer
    queries = {"list": ConflictQuery}
    lookup_field = "pk"
    lookup_value_regex = r"\d{1,15}"
    what = "conflict"

    def list(self, request: Request) -> Response:
        rows = self.rows()
        if lens := self.asked.get("lens"):
            rows = rows.filter(standing__lens__slug=lens)
        if self.asked["open"] is not None:
            rows = rows.filter(open=self.asked["open"])
        return self.paged(rows.filter(kind=self.asked["kind"]) if "kind" in self.asked else rows)
