"""What readers flag: a report, or a picture of one, that a moderator should look at."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import Catalogue, ListQuery
from api.strict import StrictSerializer
from api.v1.moderated import Named, act_on, sees_all, sent_as
from api.v1.report_shapes import PersonSerializer
from registry.errors import Conflict, Problem
from registry.moderation.models import Flag, FlagOutcome, FlagReason
from registry.moderation.queries.care import flags
from registry.moderation.rules import LONGEST_REASON
from registry.moderation.services.flags import raise_flag, settle_flags
from registry.reports.queries import image_of, report_for

OUTCOMES = [choice for choice in FlagOutcome.choices if choice[0]]


class FlagSerializer(serializers.ModelSerializer):
    """Who flagged is told to moderators, and to themselves."""

    id = serializers.IntegerField(source="pk", read_only=True)
    report = serializers.CharField(source="report.public_id", read_only=True)
    lens = serializers.SlugField(source="report.lens.slug", read_only=True)
    image = serializers.CharField(source="image.public_id", read_only=True, allow_null=True, default=None)
    by = PersonSerializer(read_only=True)
    reason_code = serializers.ChoiceField(choices=FlagReason.choices, read_only=True)
    hid = serializers.BooleanField(read_only=True, help_text="Whether this flag hid the picture.")
    outcome = serializers.SerializerMethodField(help_text="Null while nobody has looked.")
    settled_by = Named(read_only=True, allow_null=True)

    class Meta:
        model = Flag
        fields = [
            "id", "report", "lens", "image", "by", "reason_code", "says", "at", "hid", "outcome", "reason",
            "settled_by", "settled_at",
        ]  # fmt: skip
        read_only_fields = fields

    @extend_schema_field(serializers.ChoiceField(choices=OUTCOMES, allow_null=True))
    def get_outcome(self, flag: Flag) -> str | None:
        return flag.outcome or None


class FlagInput(StrictSerializer):
    """What to look at, and why."""

    report = serializers.CharField(max_length=10, help_text="Id of a public report.")
    image = serializers.CharField(
        required=False, max_length=20, help_text="Id of one of its pictures; the whole report without it."
    )
    reason_code = serializers.ChoiceField(choices=FlagReason.choices)
    says = serializers.CharField(
        required=False,
        allow_blank=True,
        max_length=LONGEST_REASON,
        help_text="What to look at; moderators read it.",
    )


class SettleInput(StrictSerializer):
    """What became of it. A picture is shown again unless it is hidden."""

    outcome = serializers.ChoiceField(choices=OUTCOMES)
    reason = serializers.CharField(max_length=LONGEST_REASON, help_text="The report’s author can read it.")


class FlagQuery(ListQuery):
    report = serializers.CharField(required=False, max_length=10, help_text="Id of a report.")
    open = serializers.BooleanField(
        required=False, allow_null=True, default=None, help_text="Both unless stated."
    )


class Flags(Catalogue):
    """What readers flagged: your own flags, and everyone’s with the scope “moderate”."""

    signed_in = True
    queryset = Flag.objects.none()
    serializer_class = FlagSerializer
    queries = {"list": FlagQuery}
    orders = {"newest": ("-id",), "oldest": ("id",)}
    lookup_field = "pk"
    lookup_value_regex = r"\d{1,15}"
    what = "flag"
    scopes = {"settle": "moderate"}

    def rows(self) -> Any:
        return flags() if sees_all(self.request) else flags().filter(by=self.request.user)

    def list(self, request: Request) -> Response:
        """Flags, newest first."""
        rows = self.rows()
        if report := self.asked.get("report"):
            rows = rows.filter(report__public_id=report)
        if self.asked["open"] is not None:
            waits = {"outcome": FlagOutcome.OPEN}
            rows = rows.filter(**waits) if self.asked["open"] else rows.exclude(**waits)
        return self.paged(rows)

    def retrieve(self, request: Request, pk: str) -> Response:
        """One flag, and what became of it."""
        return tagged(request, self._shown(self.one(self.rows())))

    @extend_schema(request=FlagInput, responses={201: FlagSerializer})
    def create(self, request: Request) -> Response:
        """Flag a report or a picture of it. Flagged twice while nobody has looked, it is flagged once."""
        return answer_once(request, lambda: self._raise(request))

    @extend_schema(request=SettleInput, responses=FlagSerializer)
    @action(detail=True, methods=["post"])
    def settle(self, request: Request, pk: str) -> Response:
        """Settle this flag and every other open one on the same thing."""
        sent = sent_as(SettleInput, request)
        flag = self.one(flags())
        return act_on(
            request,
            held=Flag.objects.filter(report=flag.report_id, image=flag.image_id),
            read=lambda: self.one(flags()),
            act=lambda row: _settle(row, request, sent),
            shown=self._shown,
        )

    def _raise(self, request: Request) -> Response:
        sent = sent_as(FlagInput, request)
        report = report_for(sent["report"], request.user)
        image = image_of(report, sent["image"]) if "image" in sent else None
        flag = raise_flag(
            by=request.user,
            report=report,
            image=image,
            reason_code=sent["reason_code"],
            says=sent.get("says", ""),
        )
        location = request.build_absolute_uri(self.reverse_action("detail", [flag.pk]))
        return tagged(
            request, self._shown(flags().get(pk=flag.pk)), status=201, headers={"Location": location}
        )

    @staticmethod
    def _shown(flag: Flag) -> dict[str, Any]:
        return FlagSerializer(flag).data


def _settle(flag: Flag, request: Request, sent: dict[str, Any]) -> None:
    if flag.outcome != FlagOutcome.OPEN:
        raise Conflict(
            Problem(
                code="already-settled",
                field="flag",
                value=flag.pk,
                says=f"Flag {flag.pk} was settled already: {flag.get_outcome_display()}.",
                remedy="Read what became of it.",
            )
        )
    settle_flags(by=request.user, report=flag.report, image=flag.image, **sent)
