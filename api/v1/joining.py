"""Reports that may be worth joining, and copies that are known to be one. Reports are joined by a decision."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedPages
from api.resource import Resource
from api.v1.moderated import sees_all
from api.v1.report_shapes import PersonSerializer
from registry.moderation.models import Act
from registry.moderation.queries.joining import Candidate, copies_joined, worth_joining
from registry.reports.models import Copy


class CandidateSerializer(serializers.Serializer):
    """Reports on one lens that count by themselves, and may be one piece of evidence."""

    lens = serializers.SlugField(source="lens.slug")
    act = serializers.ChoiceField(choices=Act.choices, help_text="The decision that would say so.")
    why = serializers.CharField(help_text="In words.")
    reports = serializers.SerializerMethodField(help_text="Their ids, to send with that decision.")

    def get_reports(self, candidate: Candidate) -> list[str]:
        return [report.public_id for report in candidate.reports]


class OneCopySerializer(serializers.Serializer):
    """A copy of a lens, by one of its holders."""

    id = serializers.CharField(source="public_id")
    label = serializers.CharField()
    holder = PersonSerializer()


class SameCopiesSerializer(serializers.Serializer):
    """Copies that are one, by their serial numbers or by their holders’ word."""

    lens = serializers.SerializerMethodField()
    copies = OneCopySerializer(source="*", many=True)

    def get_lens(self, group: list[Copy]) -> str:
        return group[0].lens.slug


class WorthJoining(Resource):
    """What looks as if it were told twice. Nothing is joined unless someone decides so."""

    queryset = Copy.objects.none()
    serializer_class = CandidateSerializer
    pagination_class = ComputedPages
    what = "candidate"
    scopes = {"list": "moderate"}

    def list(self, request: Request) -> Response:
        """Reports that may be worth joining, lens by lens."""
        sees_all(request)
        return self.paged(worth_joining())

    @staticmethod
    def key_of(candidate: Candidate) -> str:
        return candidate.key


class SameCopies(Resource):
    """Copies that several people hold, or held, and that count as one."""

    queryset = Copy.objects.none()
    serializer_class = SameCopiesSerializer
    pagination_class = ComputedPages
    what = "group of copies"
    scopes = {"list": "moderate"}

    @extend_schema(responses=SameCopiesSerializer(many=True))
    def list(self, request: Request) -> Response:
        """Copies known to be one, group by group."""
        sees_all(request)
        return self.paged(copies_joined())

    @staticmethod
    def key_of(group: list[Copy]) -> str:
        return group[0].public_id
