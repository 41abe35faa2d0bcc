"""Rows of the catalogue that may be one piece of gear: found by their names, told apart by people."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedPages
from api.resource import ListQuery, Resource
from api.strict import StrictSerializer, WordField
from api.v1.gear_named import GearNameSerializer, named
from api.v1.moderated import sees_all, sent_as
from registry.gear.doubles import Pair, doubles
from registry.gear.models import GearItem, GearKind, Lens
from registry.moderation.queries.catalogue import reports_naming
from registry.moderation.services.catalogue import tell_apart


class DoubleSerializer(GearNameSerializer):
    reports = serializers.SerializerMethodField(help_text="How many reports name it.")

    def get_reports(self, item: GearItem) -> int:
        return self.context["counted"][item]


class PairSerializer(serializers.Serializer):
    """Two rows whose names are alike, and that no fact tells apart. The first is the older one."""

    kind = serializers.ChoiceField(choices=GearKind.choices)
    likeness = serializers.FloatField(help_text="Of their names, 0 to 1.")
    first = DoubleSerializer()
    second = DoubleSerializer()
    shared = serializers.SerializerMethodField(help_text="Names of facts that both state alike.")
    differing = serializers.SerializerMethodField(help_text="Names of facts that they state otherwise.")

    def get_shared(self, pair: Pair) -> list[str]:
        return [fact for fact, _ in pair.shared]

    def get_differing(self, pair: Pair) -> list[str]:
        return [fact for fact, _, _ in pair.differing]


class ApartInput(StrictSerializer):
    """Two that are two."""

    kind = serializers.ChoiceField(choices=GearKind.choices)
    first = serializers.SlugField(max_length=140)
    second = serializers.SlugField(max_length=140)


class DoubleQuery(ListQuery):
    kind = WordField(choices=GearKind.choices, required=False)


class GearDoubles(Resource):
    """Pairs that may be one. Two that are one are merged under gear-merges."""

    queryset = Lens.objects.none()
    serializer_class = PairSerializer
    pagination_class = ComputedPages
    queries = {"list": DoubleQuery}
    what = "pair"
    scopes = {"list": "moderate", "apart": "moderate"}

    def list(self, request: Request) -> Response:
        """Pairs that nobody has told apart yet, the likest first."""
        sees_all(request)
        return self.paged(doubles([self.asked["kind"]]) if "kind" in self.asked else doubles(), _told)

    @extend_schema(request=ApartInput, responses={204: None})
    @action(detail=False, methods=["post"])
    def apart(self, request: Request) -> Response:
        """Note that two which look alike are two, so that nobody is asked again."""
        sent = sent_as(ApartInput, request)
        one, other = (named(sent["kind"], sent[name], name) for name in ("first", "second"))
        tell_apart(one=one, other=other, by=request.user)
        return Response(status=204)

    @staticmethod
    def key_of(pair: Pair) -> str:
        return pair.key


def _told(pairs: list[Pair]) -> list[dict[str, Any]]:
    counted = reports_naming({item for pair in pairs for item in (pair.first, pair.second)})
    return PairSerializer(pairs, many=True, context={"counted": counted}).data
