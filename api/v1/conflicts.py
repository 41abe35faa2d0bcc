"""Conflicts: independent evidence that the consensus can't reconcile, with what may explain it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Catalogue, ListQuery
from api.strict import WordField
from api.v1.answers import CauseSerializer
from api.v1.decisions import ExpectedSerializer
from registry.moderation.models import Act
from registry.moderation.queries.desk import asked_for, foreseen_for, impact_of
from registry.moderation.services.deciding import told
from registry.standings.models import Conflict

KINDS = ("reports-differ", "suspect", "cause", "between-cells")


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
    also_at = serializers.ListField(
        child=serializers.ListField(child=serializers.CharField()),
        read_only=True,
        help_text="Other cells that show the same split: cut-on group and focal zone.",
    )
    impact = serializers.SerializerMethodField(help_text="Stake × log2(2 + look-ups + 3 × watches).")

    class Meta:
        model = Conflict
        fields = [
            "id", "lens", "standing", "cut_on_group", "focal_zone", "kind", "open", "version", "explanations", "camps",
            "also_at", "stake", "impact", "opened_at", "updated_at", "closed_at", "close_reason",
        ]  # fmt: skip
        read_only_fields = fields

    def get_impact(self, conflict: Conflict) -> float:
        asked = self.context["asked"].get((conflict.standing.lens_id, conflict.standing.cut_on_group), (0, 0))
        return impact_of(conflict.stake, *asked)

    @extend_schema_field(serializers.DictField(child=CampMemberSerializer(many=True)))
    def get_camps(self, conflict: Conflict) -> dict:
        return {side: CampMemberSerializer(told, many=True).data for side, told in conflict.camps.items()}


class ForeseenDecisionSerializer(serializers.Serializer):
    """A decision that suggests itself, and the standings that it would change."""

    decision = serializers.CharField(help_text="In words.")
    act = serializers.ChoiceField(choices=Act.choices)
    reports = serializers.ListField(child=serializers.CharField())
    needs_a_second = serializers.BooleanField(help_text="Whether someone else would have to agree.")
    expected = ExpectedSerializer(many=True)


class ConflictQuery(ListQuery):
    lens = serializers.SlugField(required=False, help_text="Slug of a lens.")
    open = serializers.BooleanField(
        required=False, allow_null=True, default=None, help_text="Both unless stated."
    )
    kind = WordField(choices=KINDS, required=False)


class Conflicts(Catalogue):
    """Where reports contradict each other."""

    queryset = Conflict.objects.select_related("standing__lens").order_by("id")
    serializer_class = ConflictSerializer
    queries = {"list": ConflictQuery}
    lookup_field = "pk"
    lookup_value_regex = r"\d{1,15}"
    orders = {"oldest": ("id",), "newest": ("-id",), "stake": ("-stake", "id")}
    what = "conflict"

    def list(self, request: Request) -> Response:
        rows = self.rows()
        if lens := self.asked.get("lens"):
            rows = rows.filter(standing__lens__slug=lens)
        if self.asked["open"] is not None:
            rows = rows.filter(open=self.asked["open"])
        rows = rows.filter(kind=self.asked["kind"]) if "kind" in self.asked else rows
        return self.paged(rows, self._told)

    @extend_schema(responses=ForeseenDecisionSerializer(many=True), filters=False)
    @action(detail=True, pagination_class=None)
    def foreseen(self, request: Request, pk: str) -> Response:
        """What the standings would become under each decision that suggests itself, computed and not written."""
        conflict = self.one(self.rows())
        body = [
            {
                "decision": one.words,
                "act": one.plan.act,
                "reports": [report.public_id for report in one.plan.reports],
                "needs_a_second": one.needs_a_second,
                "expected": told(one.moved),
            }
            for one in foreseen_for(conflict)
        ]
        return tagged(request, ForeseenDecisionSerializer(body, many=True).data)

    def retrieve(self, request: Request, pk: str) -> Response:
        """One conflict, with its camps and explanations."""
        return tagged(request, self._told([self.one(self.rows())])[0])

    @staticmethod
    def _told(rows: Any) -> list:
        rows = list(rows)
        return ConflictSerializer(rows, many=True, context={"asked": asked_for(rows)}).data
