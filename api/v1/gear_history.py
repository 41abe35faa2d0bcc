"""What happened to one piece of gear in the catalogue, and where its facts come from."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Resource
from api.v1.gear_named import KINDS_TOLD, GearNameSerializer, KindField, named
from api.v1.moderated import Named
from registry.gear.models import FactSource, GearItem, Lens
from registry.gear.queries import former_slugs, sources_of
from registry.moderation.queries.catalogue import history_of_gear


class SourceSerializer(serializers.ModelSerializer):
    """Where one fact comes from. Several sources may state different values."""

    added_by = Named(read_only=True, allow_null=True)

    class Meta:
        model = FactSource
        fields = ["fact", "value", "source", "licence", "added_by", "added_at"]
        read_only_fields = fields


class StepSerializer(serializers.Serializer):
    """One thing that happened."""

    event = serializers.IntegerField(source="event.sequence", help_text="Its number in the event log.")
    name = serializers.CharField(source="event.name")
    words = serializers.CharField()
    at = serializers.DateTimeField(source="event.at")
    by = serializers.CharField(help_text="Empty for the registry itself.")
    data = serializers.JSONField(source="event.data")


class HistorySerializer(GearNameSerializer):
    kind = KindField(help_text=KINDS_TOLD)
    former_slugs = serializers.SerializerMethodField(help_text="Doubles that lead here.")
    steps = serializers.SerializerMethodField(help_text="Newest first.")
    sources = serializers.SerializerMethodField()

    def get_former_slugs(self, item: GearItem) -> list[str]:
        return former_slugs(item)

    def get_steps(self, item: GearItem) -> StepSerializer(many=True):
        return StepSerializer(history_of_gear(item), many=True).data

    def get_sources(self, item: GearItem) -> SourceSerializer(many=True):
        return SourceSerializer(sources_of(item).select_related("added_by"), many=True).data


class GearHistory(Resource):
    """The history of one piece of gear, for everyone to read."""

    queryset = Lens.objects.none()
    serializer_class = HistorySerializer
    what = "history"

    def retrieve(self, request: Request, kind: str, slug: str) -> Response:
        """What happened to one piece of gear, and where its facts come from."""
        shown: Any = HistorySerializer(named(kind, slug)).data
        return tagged(request, shown)
