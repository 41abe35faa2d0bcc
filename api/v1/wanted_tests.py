"""Wanted tests: where one more report would teach most, and who has taken it on."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Resource, take_nothing
from registry.wanted.filters import WantedFilters
from registry.wanted.models import WantedTest
from registry.wanted.queries import wanted_test, with_reservations
from registry.wanted.services import release_test, reserve_test


class ReservationSerializer(serializers.Serializer):
    """Who will do a test, and until when it stays theirs."""

    by = serializers.CharField(source="account.name")
    until = serializers.DateTimeField()


class WantedTestSerializer(serializers.ModelSerializer):
    id = serializers.IntegerField(source="pk", read_only=True)
    lens = serializers.SlugRelatedField("slug", read_only=True)
    title = serializers.CharField(source="lens.__str__", read_only=True)
    focal_zone = serializers.CharField(read_only=True, help_text="Where one more report would teach most.")
    information = serializers.FloatField(
        read_only=True, help_text="Bits that one more report is expected to bring there."
    )
    look_ups = serializers.IntegerField(
        read_only=True, help_text="Openings of the lens’s page at this cut-on, in 90 days."
    )
    watches = serializers.IntegerField(read_only=True, help_text="Accounts that watch the lens.")
    score = serializers.FloatField(
        read_only=True, help_text="Information × log2(2 + look-ups + 3 × watches)."
    )
    reservation = ReservationSerializer(source="taken", read_only=True, allow_null=True)

    class Meta:
        model = WantedTest
        fields = [
            "id", "lens", "title", "cut_on_group", "focal_zone", "information", "look_ups", "watches", "score",
            "reservation", "counted_at",
        ]  # fmt: skip
        read_only_fields = fields


class WantedTests(Resource):
    """Lens × cut-on groups, ranked by expected information × demand."""

    queryset = WantedTest.objects.none()
    serializer_class = WantedTestSerializer
    filterset_class = WantedFilters
    orders = {
        "score": ("-score", "id"),
        "information": ("-information", "id"),
        "look-ups": ("-look_ups", "id"),
        "lens": ("lens__slug", "id"),
    }
    lookup_field = "id"
    lookup_value_regex = r"\d{1,15}"
    what = "wanted test"

    def list(self, request: Request) -> Response:
        """Wanted tests, the most wanted first."""
        return self.paged(
            self.filters().qs,
            lambda page: WantedTestSerializer(with_reservations(list(page)), many=True).data,
        )

    def retrieve(self, request: Request, id: str) -> Response:
        """One wanted test, with its reservation if there is one."""
        return tagged(request, WantedTestSerializer(wanted_test(int(id))).data)

    @extend_schema(request=None, responses=WantedTestSerializer)
    @action(detail=True, methods=["post"])
    def reserve(self, request: Request, id: str) -> Response:
        """Take a test on for 30 days. Your own again changes nothing; someone else's is a 409."""
        take_nothing(request)
        reserve_test(account=request.user, test=wanted_test(int(id)))
        return tagged(request, WantedTestSerializer(wanted_test(int(id))).data)

    @extend_schema(request=None, responses=WantedTestSerializer)
    @action(detail=True, methods=["post"])
    def release(self, request: Request, id: str) -> Response:
        """Give a test back that you had reserved. One that nobody holds stays as it is."""
        take_nothing(request)
        release_test(account=request.user, test=wanted_test(int(id)))
        return tagged(request, WantedTestSerializer(wanted_test(int(id))).data)
