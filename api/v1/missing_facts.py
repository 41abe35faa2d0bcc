"""Facts about lenses that nobody has stated yet: listed, and completed with their source."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import ListQuery, Resource
from api.strict import FiniteFloatField, StrictSerializer
from api.v1.lenses import LensSerializer
from registry.gear.models import FilterSeat, GearKind, Lens
from registry.gear.queries import gear_by_slug, mount_by_slug
from registry.gear.rules import lacking_facts
from registry.gear.services import complete_facts
from registry.wanted.queries import lenses_lacking_facts


class LackingLensSerializer(serializers.Serializer):
    """A lens and what the catalogue lacks of it."""

    lens = serializers.CharField(source="slug")
    title = serializers.CharField(source="__str__")
    lacks = serializers.SerializerMethodField(help_text="Names of facts, the most wanted first.")
    asked_for = serializers.IntegerField(help_text="Reports on the lens and openings of its page.")

    def get_lacks(self, lens: Lens) -> list[str]:
        return lacking_facts(lens)


class LackingQuery(ListQuery):
    mount = serializers.SlugField(required=False, help_text="Slug of a mount that the lens has.")


class FactsInput(StrictSerializer):
    """Facts of one lens, with where they are from; those that you don't know are left out."""

    lens = serializers.SlugField(help_text="Slug of the lens.")
    source = serializers.CharField(
        max_length=300, help_text="Such as “read off the lens” or a handbook’s page."
    )
    mounts = serializers.ListField(
        child=serializers.CharField(max_length=60), required=False, help_text="Names or slugs."
    )
    narrowest_f = FiniteFloatField(required=False, min_value=0.7, max_value=64)
    filter_thread_mm = FiniteFloatField(required=False, min_value=10, max_value=200)
    filter_seat = serializers.ChoiceField(required=False, choices=FilterSeat.choices)
    image_circle_mm = FiniteFloatField(required=False, min_value=1)
    mass_g = FiniteFloatField(required=False, min_value=1)
    length_mm = FiniteFloatField(required=False, min_value=1)
    year = serializers.IntegerField(required=False, min_value=1840, max_value=2100)

    def validate(self, sent: dict) -> dict:
        if not set(sent) - {"lens", "source"}:
            raise serializers.ValidationError("State at least one fact of the lens.", "fact-missing")
        return sent


class MissingFacts(Resource):
    """Lenses of which the catalogue lacks a thread, a narrowest f-number, a mount or the mass."""

    queryset = Lens.objects.none()
    serializer_class = LackingLensSerializer
    queries = {"list": LackingQuery}
    what = "missing fact"

    def list(self, request: Request) -> Response:
        """Lenses that lack facts, the most asked for first."""
        mount = self.asked.get("mount")
        if mount:
            mount_by_slug(mount)
        return self.paged(lenses_lacking_facts(mount=mount))

    @extend_schema(request=FactsInput, responses={201: LensSerializer})
    def create(self, request: Request) -> Response:
        """Complete facts of a lens: all of them, or none. What is stated otherwise already is a 409."""
        return answer_once(request, lambda: self._create(request))

    def _create(self, request: Request) -> Response:
        sent = FactsInput(data=request.data)
        sent.is_valid(raise_exception=True)
        facts = dict(sent.validated_data)
        lens = gear_by_slug(GearKind.LENS, facts.pop("lens"))
        source = facts.pop("source")
        lens = complete_facts(item=lens, facts=facts, source=source, by=request.user)
        return tagged(request, LensSerializer(lens).data, status=201)
