"""Newcomers' reports without frames: they count once someone else has confirmed that they read like a test."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import Catalogue, take_nothing
from api.strict import StrictSerializer
from api.v1.decisions import DecisionSerializer
from api.v1.moderated import act_on, sent_as
from api.v1.report_shapes import ReportRowSerializer
from registry.moderation.models import Act
from registry.moderation.queries.decisions import decision_by_id
from registry.moderation.rules import LONGEST_REASON, REASONS_TOLD
from registry.moderation.services import decide
from registry.reports.models import Report
from registry.reports.queries import report_for, reports_waiting
from registry.reports.rules.newcomers import may_confirm
from registry.reports.services.confirming import confirm_report


class WaitingReportSerializer(ReportRowSerializer):
    may_confirm = serializers.SerializerMethodField(
        help_text="Whether you may: with a counting report of your own, or as a moderator; nobody their own."
    )

    class Meta(ReportRowSerializer.Meta):
        fields = [*ReportRowSerializer.Meta.fields, "may_confirm"]
        read_only_fields = fields

    def get_may_confirm(self, report: Report) -> bool:
        asker = self.context["request"].user
        return asker.is_authenticated and may_confirm(asker, report)


class RefusalInput(StrictSerializer):
    """Why it is no test."""

    reason_code = serializers.ChoiceField(choices=REASONS_TOLD)
    reason = serializers.CharField(max_length=LONGEST_REASON, help_text="Public.")


class WaitingReports(Catalogue):
    """Reports that wait for one confirmation."""

    queryset = Report.objects.none()
    serializer_class = WaitingReportSerializer
    ordering = ("submitted_at", "id")
    lookup_field = "public_id"
    lookup_value_regex = r"[0-9a-z]{1,20}"
    what = "waiting report"
    scopes = {"refuse": "moderate"}

    def rows(self) -> Any:
        return reports_waiting()

    def list(self, request: Request) -> Response:
        """Reports that wait, the oldest first."""
        return self.paged(self.rows())

    def retrieve(self, request: Request, public_id: str) -> Response:
        """One report that waits; a 404 once it waits no more."""
        return tagged(request, self._shown(self.one(self.rows())))

    @extend_schema(request=None, responses=WaitingReportSerializer)
    @action(detail=True, methods=["post"])
    def confirm(self, request: Request, public_id: str) -> Response:
        """Say that it reads like a test: it counts from now on."""
        take_nothing(request)
        return act_on(
            request,
            held=Report.objects.filter(public_id=public_id),
            read=lambda: report_for(public_id, request.user),
            act=lambda report: confirm_report(report=report, by=request.user),
            shown=self._shown,
        )

    @extend_schema(request=RefusalInput, responses={201: DecisionSerializer})
    @action(detail=True, methods=["post"])
    def refuse(self, request: Request, public_id: str) -> Response:
        """Set it aside before it counts. It is a decision like any other: public, and it can be taken back."""
        return answer_once(request, lambda: self._refuse(request, public_id))

    def _refuse(self, request: Request, public_id: str) -> Response:
        sent = sent_as(RefusalInput, request)
        made = decide(by=request.user, act=Act.SET_ASIDE, reports=[self.one(self.rows())], **sent)
        location = self.reverse_action("list").replace("/waiting-reports/", f"/decisions/{made.public_id}/")
        shown = DecisionSerializer(decision_by_id(made.public_id)).data
        return tagged(request, shown, status=201, headers={"Location": request.build_absolute_uri(location)})

    def _shown(self, report: Report) -> dict[str, Any]:
        return WaitingReportSerializer(report, context={"request": self.request}).data
