"""The moderators' desk: what waits, how old it is, who is at it; and how the registry fares."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedPages
from api.conditional import tagged
from api.resource import Resource, take_nothing
from api.v1.moderated import Named, sees_all
from registry.errors import NotFound, Problem
from registry.moderation.models import DayFigures, Handling
from registry.moderation.queries.figures import figures_now
from registry.moderation.queries.start import KINDS_WAITING, Thing, piles, thing_waiting, things_waiting
from registry.moderation.services import hand_back, take_on

KINDS_TOLD = f"One of: {', '.join(KINDS_WAITING)}."


class HandlingSerializer(serializers.ModelSerializer):
    by = Named(read_only=True)

    class Meta:
        model = Handling
        fields = ["by", "since", "until"]
        read_only_fields = fields


class ThingSerializer(serializers.Serializer):
    """One thing that waits."""

    kind = serializers.CharField(help_text=KINDS_TOLD)
    key = serializers.CharField(help_text="Names it among its kind: most often its id.")
    words = serializers.CharField()
    since = serializers.DateTimeField()
    handled = HandlingSerializer(allow_null=True, help_text="Who is at it; null for nobody.")


class PileSerializer(serializers.Serializer):
    """What waits of one kind."""

    kind = serializers.CharField(help_text=KINDS_TOLD)
    count = serializers.IntegerField()
    oldest = serializers.DateTimeField(allow_null=True)
    things = ThingSerializer(many=True, help_text="The first few, in the order to see to them.")


class FiguresSerializer(serializers.Serializer):
    open_conflicts = serializers.IntegerField()
    median_days = serializers.FloatField(
        allow_null=True,
        help_text="From a conflict’s opening to the first decision on it, of the last 90 days.",
    )
    well_founded = serializers.FloatField(
        allow_null=True, help_text="Share of stated standings that rest on three independent reports or more."
    )


class DayFiguresSerializer(FiguresSerializer):
    """Figures as they were noted on a day."""

    day = serializers.DateField()
    reliability = serializers.FloatField(allow_null=True, help_text="Krippendorff’s α of all grades.")


class DeskSerializer(serializers.Serializer):
    piles = PileSerializer(many=True)
    now = FiguresSerializer()


class Desk(Resource):
    """What waits for a moderator. Taking something on lets the others see that you are at it, for a day."""

    queryset = DayFigures.objects.none()
    serializer_class = DeskSerializer
    what = "desk"
    scopes = dict.fromkeys(("retrieve", "take_on", "hand_back"), "moderate")

    def retrieve(self, request: Request) -> Response:
        """What waits, kind by kind, and today’s figures."""
        sees_all(request)
        return tagged(request, DeskSerializer({"piles": piles(), "now": figures_now()}).data)

    @extend_schema(request=None, responses=ThingSerializer)
    def take_on(self, request: Request, kind: str, key: str) -> Response:
        """Take something on, or your own again for another day. While someone else is at it, that is a 409."""
        return self._handled(request, kind, key, take_on)

    @extend_schema(request=None, responses=ThingSerializer)
    def hand_back(self, request: Request, kind: str, key: str) -> Response:
        """Hand something back that you had taken on; harmless where you had not."""
        return self._handled(request, kind, key, hand_back)

    def _handled(self, request: Request, kind: str, key: str, act: Callable[..., Any]) -> Response:
        sees_all(request)
        take_nothing(request)
        _waiting(kind, key)
        act(by=request.user, kind=kind, key=key)
        return Response(ThingSerializer(_waiting(kind, key)).data)


class DeskThings(Resource):
    """Everything of one kind that waits for a moderator."""

    queryset = DayFigures.objects.none()
    serializer_class = ThingSerializer
    pagination_class = ComputedPages
    what = "thing that waits"
    scopes = {"list": "moderate"}

    def list(self, request: Request, kind: str) -> Response:
        """Everything of one kind that waits, in the order to see to it."""
        sees_all(request)
        return self.paged(things_waiting(_known(kind)))

    @staticmethod
    def key_of(thing: Thing) -> str:
        return thing.key


class DeskFigures(Resource):
    """How the registry fares, over time."""

    queryset = DayFigures.objects.order_by("-day")
    serializer_class = DayFiguresSerializer
    orders = {"newest": ("-day",), "oldest": ("day",)}
    what = "day’s figures"
    scopes = {"list": "moderate"}

    def list(self, request: Request) -> Response:
        """The figures as they were noted day by day, newest first."""
        sees_all(request)
        return self.paged(self.get_queryset())


def _known(kind: str) -> str:
    if kind not in KINDS_WAITING:
        raise NotFound(
            Problem(
                code="unknown-kind",
                field="kind",
                value=kind[:40],
                says=f"Nothing of the kind “{kind[:40]}” waits on the desk.",
                remedy=KINDS_TOLD,
            )
        )
    return kind


def _waiting(kind: str, key: str) -> Thing:
    thing = thing_waiting(_known(kind), key)
    if thing is None:
        raise NotFound(
            Problem(
                code="no-such-thing",
                field="key",
                value=key[:140],
                says=f"No {kind} “{key[:140]}” waits.",
                remedy="Someone may have seen to it: look at the desk again.",
            )
        )
    return thing
