"""Standings as they are stored: one per lens, light path, cut-on group and focal zone."""

from __future__ import annotations

import django_filters
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.resource import Catalogue
from api.v1.answers import (
    AgreementSerializer,
    CauseSerializer,
    LimitSerializer,
    StopSerializer,
    SuspectSerializer,
)
from registry.consensus.cells import BAND_LABELS
from registry.consensus.verdicts import CODES, CONFIDENCES
from registry.standings.models import Standing
from registry.standings.queries.filter_fields import Filters, WordFilter


class StandingSerializer(serializers.ModelSerializer):
    id = serializers.IntegerField(source="pk", read_only=True)
    lens = serializers.SlugRelatedField("slug", read_only=True)
    teleconverter = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)
    adapter = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)
    stops = StopSerializer(many=True, read_only=True)
    limit = serializers.SerializerMethodField()
    causes = CauseSerializer(many=True, read_only=True)
    suspects = SuspectSerializer(many=True, read_only=True)
    agreement = AgreementSerializer(read_only=True)
    priors_edition = serializers.IntegerField(source="priors.number", read_only=True)

    class Meta:
        model = Standing
        fields = [
            "id", "lens", "teleconverter", "adapter", "cut_on_group", "focal_zone", "verdict", "words", "f_number",
            "confidence", "n_reports", "n_independent", "leads", "sentence", "stops", "limit", "causes", "suspects",
            "agreement", "expected_information", "fingerprint", "method_version", "priors_edition", "computed_at",
        ]  # fmt: skip
        read_only_fields = fields

    def get_limit(self, standing: Standing) -> LimitSerializer(allow_null=True):
        return LimitSerializer(standing.limit).data if standing.limit else None


class StandingFilters(Filters):
    lens = django_filters.CharFilter("lens__slug", label="Lens", help_text="Slug of a lens.")
    cut_on_group = WordFilter(
        label="Cut-on group", words=tuple(sorted(BAND_LABELS)), help_text="Such as 700-780."
    )
    verdict = WordFilter(label="Verdict", words=CODES, help_text="A verdict’s code.")
    confidence = WordFilter(label="Confidence", words=CONFIDENCES, help_text="tentative, fair or firm.")

    class Meta:
        model = Standing
        fields: list[str] = []


class Standings(Catalogue):
    """What the registry says today, cell by cell, at the default tolerance."""

    queryset = Standing.objects.select_related("lens", "teleconverter", "adapter", "priors").order_by("id")
    serializer_class = StandingSerializer
    filterset_class = StandingFilters
    orders = {
        "oldest": ("id",),
        "lens": ("lens__slug", "id"),
        "information": ("-expected_information", "id"),
    }
    lookup_field = "pk"
    lookup_value_regex = r"\d{1,15}"
    what = "standing"

    def list(self, request: Request) -> Response:
        """Stored standings, one per lens, light path, cut-on group and focal zone."""
        return self.paged(self.filters().qs)
