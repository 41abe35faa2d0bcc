"""Appeals: whoever was blocked or counted as one voice with others, or whose picture was hidden, asks for a second
look by another moderator."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
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
from registry.errors import InvalidInput, Problem
from registry.moderation.models import Appeal
from registry.moderation.queries.care import appeals, block_by_number
from registry.moderation.queries.decisions import decision_by_id
from registry.moderation.queries.voices import decision_behind, voice_made_by
from registry.moderation.rules import LONGEST_REASON
from registry.moderation.services.appeals import LONGEST_APPEAL, answer_appeal, appeal
from registry.reports.queries import image_for


class AppealSerializer(serializers.ModelSerializer):
    id = serializers.IntegerField(source="pk", read_only=True)
    by = PersonSerializer(read_only=True)
    block = serializers.PrimaryKeyRelatedField(read_only=True, allow_null=True)
    image = serializers.CharField(source="image.public_id", read_only=True, allow_null=True, default=None)
    decision = serializers.SerializerMethodField(
        help_text="Id of the decision that accounts count as one voice."
    )
    granted = serializers.BooleanField(read_only=True, allow_null=True, help_text="Null while it waits.")
    answered_by = Named(read_only=True, allow_null=True)

    class Meta:
        model = Appeal
        fields = [
            "id", "by", "block", "image", "decision", "says", "at", "granted", "answer", "answered_by", "answered_at",
        ]  # fmt: skip
        read_only_fields = fields

    def get_decision(self, row: Appeal) -> str | None:
        decision = decision_behind(row.voice) if row.voice else None
        return decision.public_id if decision else None


class AppealInput(StrictSerializer):
    """Against what, and why: a block of yours, a hidden picture of yours, or a decision that your tests and others’
    count as one person’s."""

    block = serializers.IntegerField(
        required=False, min_value=1, max_value=2**60, help_text="Id of the block."
    )
    image = serializers.CharField(required=False, max_length=20, help_text="Id of the picture.")
    decision = serializers.CharField(
        required=False,
        max_length=10,
        help_text="Id of the decision that counts you as one voice with others.",
    )
    says = serializers.CharField(max_length=LONGEST_APPEAL, help_text="Why it should be looked at again.")


class AnswerInput(StrictSerializer):
    """Granted, the block is lifted, the picture shown, or the accounts count by themselves again."""

    grant = serializers.BooleanField()
    reason = serializers.CharField(max_length=LONGEST_REASON, help_text="Whoever appealed reads it.")


class AppealQuery(ListQuery):
    waiting = serializers.BooleanField(
        required=False, allow_null=True, default=None, help_text="Both unless stated."
    )


class Appeals(Catalogue):
    """Appeals: your own, and everyone’s with the scope “moderate”."""

    signed_in = True
    queryset = Appeal.objects.none()
    serializer_class = AppealSerializer
    queries = {"list": AppealQuery}
    orders = {"newest": ("-id",), "oldest": ("id",)}
    lookup_field = "pk"
    lookup_value_regex = r"\d{1,15}"
    what = "appeal"
    scopes = {"answer": "moderate"}

    def rows(self) -> Any:
        rows = appeals().order_by("-id")
        return rows if sees_all(self.request) else rows.filter(by=self.request.user)

    def list(self, request: Request) -> Response:
        """Appeals, newest first."""
        rows, waiting = self.rows(), self.asked["waiting"]
        return self.paged(rows if waiting is None else rows.filter(granted__isnull=waiting))

    def retrieve(self, request: Request, pk: str) -> Response:
        """One appeal, with its answer once there is one."""
        return tagged(request, self._shown(self.one(self.rows())))

    @extend_schema(request=AppealInput, responses={201: AppealSerializer})
    def create(self, request: Request) -> Response:
        """Appeal against your block, for your hidden picture, or against being counted as one voice with others."""
        return answer_once(request, lambda: self._appeal(request))

    @extend_schema(request=AnswerInput, responses=AppealSerializer)
    @action(detail=True, methods=["post"])
    def answer(self, request: Request, pk: str) -> Response:
        """Grant an appeal, or say why not. Nobody answers one against their own decision."""
        sent = sent_as(AnswerInput, request)
        return act_on(
            request,
            held=Appeal.objects.filter(pk=pk),
            read=lambda: self.one(appeals()),
            act=lambda row: answer_appeal(
                appeal=row, by=request.user, grant=sent["grant"], answer=sent["reason"]
            ),
            shown=self._shown,
        )

    def _appeal(self, request: Request) -> Response:
        made = appeal(by=request.user, **_about(sent_as(AppealInput, request), request))
        location = request.build_absolute_uri(self.reverse_action("detail", [made.pk]))
        return tagged(
            request, self._shown(appeals().get(pk=made.pk)), status=201, headers={"Location": location}
        )

    @staticmethod
    def _shown(row: Appeal) -> dict[str, Any]:
        return AppealSerializer(row).data


def _about(sent: dict[str, Any], request: Request) -> dict[str, Any]:
    if len(sent.keys() & {"block", "image", "decision"}) != 1:
        raise InvalidInput(
            Problem(
                code="one-thing-needed",
                field="appeal",
                says="An appeal is about one thing: a block, a picture, or a decision about voices.",
                remedy="Name one of them.",
            )
        )
    if "block" in sent:
        return {"says": sent["says"], "block": block_by_number(sent["block"])}
    if "decision" in sent:
        return {"says": sent["says"], "voice": voice_made_by(decision_by_id(sent["decision"]))}
    return {"says": sent["says"], "image": image_for(sent["image"], request.user)}
