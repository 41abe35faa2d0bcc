"""Gear that was proposed: it can be reported on at once, and waits until a moderator has looked it over."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedPages
from api.conditional import tagged
from api.resource import Resource, take_nothing
from api.v1.decisions import ReasonInput
from api.v1.gear_history import SourceSerializer
from api.v1.gear_named import KINDS_TOLD, KindField, named
from api.v1.moderated import Named, act_on, sent_as
from registry.errors import NotFound, Problem
from registry.gear.models import GearItem, GearStatus, Lens
from registry.gear.queries import kind_of, sources_of
from registry.gear.rules import facts_stated
from registry.moderation.queries.catalogue import proposals, reports_naming
from registry.moderation.services.catalogue import list_gear
from registry.moderation.services.refusing import refuse_gear


class ProposalRowSerializer(serializers.Serializer):
    """One proposed piece of gear."""

    kind = KindField(help_text=KINDS_TOLD)
    slug = serializers.SlugField()
    title = serializers.CharField(source="__str__")
    proposed_by = Named(allow_null=True)
    proposed_at = serializers.DateTimeField(source="created_at")


class ProposalSerializer(ProposalRowSerializer):
    """With what it states."""

    status = serializers.ChoiceField(choices=GearStatus.choices)
    facts = serializers.SerializerMethodField(help_text="What is stated of it, by name.")
    sources = serializers.SerializerMethodField()
    reports = serializers.SerializerMethodField(help_text="How many reports name it.")

    def get_facts(self, item: GearItem) -> dict[str, Any]:
        return facts_stated(item)

    def get_sources(self, item: GearItem) -> SourceSerializer(many=True):
        return SourceSerializer(sources_of(item).select_related("added_by"), many=True).data

    def get_reports(self, item: GearItem) -> int:
        return reports_naming([item])[item]


class ProposedGear(Resource):
    """Gear that waits to be taken into the catalogue. It is proposed under its own resource, such as lenses."""

    queryset = Lens.objects.none()
    serializer_class = ProposalSerializer
    pagination_class = ComputedPages
    what = "proposal"
    scopes = {"accept": "moderate", "refuse": "moderate"}

    @extend_schema(responses=ProposalRowSerializer(many=True))
    def list(self, request: Request) -> Response:
        """Proposed gear, the oldest first."""
        return self.paged(proposals(), lambda page: ProposalRowSerializer(page, many=True).data)

    def retrieve(self, request: Request, kind: str, slug: str) -> Response:
        """One proposal, with what it states and where that is from; a 404 once it is listed."""
        return tagged(request, ProposalSerializer(_proposed(kind, slug)).data)

    @extend_schema(request=None, responses=ProposalSerializer)
    def accept(self, request: Request, kind: str, slug: str) -> Response:
        """Take it into the catalogue. One that is listed already stays as it is."""
        take_nothing(request)
        return act_on(
            request,
            held=type(named(kind, slug)).objects.filter(slug=slug),
            read=lambda: named(kind, slug),
            act=lambda item: list_gear(item=item, by=request.user),
            shown=lambda item: ProposalSerializer(item).data,
        )

    @extend_schema(request=ReasonInput, responses={204: None})
    def refuse(self, request: Request, kind: str, slug: str) -> Response:
        """Take it out again, unless a report names it or someone keeps it. The event log holds what it said."""
        reason = sent_as(ReasonInput, request)["reason"]
        refuse_gear(item=named(kind, slug), by=request.user, reason=reason)
        return Response(status=204)

    @staticmethod
    def key_of(item: GearItem) -> str:
        return f"{kind_of(item)}:{item.slug}"


def _proposed(kind: str, slug: str) -> GearItem:
    item = named(kind, slug)
    if item.status != GearStatus.PROPOSED:
        raise NotFound(
            Problem(
                code="no-such-proposal",
                field="slug",
                value=slug,
                says=f"{item} is no proposal any more.",
                remedy="It is in the catalogue: read it there.",
            )
        )
    return item
