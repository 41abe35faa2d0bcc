"""Decisions of moderators: read by anyone; made, answered and taken back with the scope “moderate”."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import ListQuery, Resource
from api.strict import StrictSerializer, WordField
from registry.errors import InvalidInput, Problem
from registry.moderation.models import Act, Decision
from registry.moderation.plan import Plan
from registry.moderation.queries.decisions import (
    STATUS_WORDS,
    decision_by_id,
    decisions,
    signed,
    status_of,
)
from registry.moderation.queries.desk import foresee, split_conditions
from registry.moderation.rules import DECISIONS_TOLD, LONGEST_REASON, REASONS, needs_a_second
from registry.moderation.services import answer_proposal, decide, undo_decision
from registry.moderation.services.deciding import plan_of, told
from registry.reports.models import Report
from registry.reports.queries import report_for
from registry.standings.models import Conflict
from registry.standings.queries.conflicts import conflict_by_id


class ExpectedSerializer(serializers.Serializer):
    """A standing that a decision was expected to change."""

    path = serializers.CharField(help_text="The lens, with the glass behind it.")
    cut_on_group = serializers.CharField()
    focal_zone = serializers.CharField()
    before = serializers.CharField()
    after = serializers.CharField()


class DecisionSerializer(serializers.Serializer):
    id = serializers.CharField(source="public_id")
    act = serializers.ChoiceField(choices=Act.choices)
    status = serializers.SerializerMethodField(help_text=f"One of: {', '.join(STATUS_WORDS)}.")
    by = serializers.SerializerMethodField(help_text="As this installation lets moderators be named.")
    at = serializers.DateTimeField()
    lens = serializers.SerializerMethodField(help_text="Null where it holds on every lens.")
    conflict = serializers.IntegerField(source="conflict_id", allow_null=True)
    reports = serializers.SerializerMethodField()
    accounts = serializers.ListField(
        source="details.accounts",
        child=serializers.CharField(),
        default=(),
        help_text="Of decisions about voices: ids of the accounts.",
    )
    reason_code = serializers.CharField(
        help_text=f"Of setting aside, one of: {', '.join(REASONS)}; else empty."
    )
    reason = serializers.CharField()
    about = serializers.CharField(
        source="about.public_id",
        allow_null=True,
        default=None,
        help_text="The decision it answers or takes back.",
    )
    due = serializers.CharField(source="details.due", allow_null=True, default=None)
    expected = ExpectedSerializer(
        source="details.expected", many=True, default=(), help_text="Standings it was expected to change."
    )

    def get_status(self, decision: Decision) -> str:
        return status_of(decision).code

    def get_by(self, decision: Decision) -> str:
        return signed(decision)

    @extend_schema_field(serializers.SlugField(allow_null=True))
    def get_lens(self, decision: Decision) -> str | None:
        return decision.lens_slug or None

    @extend_schema_field(serializers.ListField(child=serializers.CharField()))
    def get_reports(self, decision: Decision) -> list[str]:
        return [report.public_id for report in decision.reports.all()]


class DecisionInput(StrictSerializer):
    """What is to be decided. conflict or reports is needed, depending on the act."""

    act = serializers.ChoiceField(choices=DECISIONS_TOLD)
    reason = serializers.CharField(max_length=LONGEST_REASON, help_text="Public; of “ask”, the question.")
    conflict = serializers.IntegerField(
        required=False, help_text="Id of a conflict.", min_value=1, max_value=2**60
    )
    reports = serializers.ListField(
        child=serializers.CharField(max_length=10),
        required=False,
        max_length=100,
        help_text="Ids of reports.",
    )
    reason_code = serializers.ChoiceField(
        choices=list(REASONS.items()), required=False, help_text="Needed for setting aside."
    )
    due = serializers.DateField(required=False, help_text="Of a question; two weeks from now unless stated.")
    factor = serializers.CharField(
        required=False,
        max_length=20,
        help_text="Of “split”: an explanation’s factor that the conflict names.",
    )
    changes = serializers.DictField(
        required=False,
        help_text="Of “correct-gear”: gear fields as a report takes them, such as lens.",
    )
    version = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=2**31,
        help_text="Of the conflict, or the one report, as you saw it; another one is refused.",
    )


class ForeseenSerializer(serializers.Serializer):
    """What a decision would change."""

    needs_a_second = serializers.BooleanField(help_text="Whether someone else would have to agree.")
    expected = ExpectedSerializer(many=True)


class ReasonInput(StrictSerializer):
    reason = serializers.CharField(max_length=LONGEST_REASON, help_text="Public.")


class DecisionQuery(ListQuery):
    lens = serializers.SlugField(required=False, help_text="Slug of a lens.")
    report = serializers.CharField(required=False, max_length=10, help_text="Id of a report.")
    conflict = serializers.IntegerField(
        required=False, help_text="Id of a conflict.", min_value=1, max_value=2**60
    )
    act = WordField(choices=Act.choices, required=False)


FILTERS = {"lens": "lens_slug", "report": "reports__public_id", "conflict": "conflict", "act": "act"}


class Decisions(Resource):
    """What moderators decided, proposed and took back."""

    queryset = Decision.objects.none()
    serializer_class = DecisionSerializer
    queries = {"list": DecisionQuery}
    orders = {"newest": ("-id",), "oldest": ("id",)}
    lookup_field = "public_id"
    lookup_value_regex = r"[0-9a-z]{1,10}"
    what = "decision"
    # An author consents to corrected gear with “submit”; the room below knows who may do what.
    scopes = {"create": "moderate", "foresee": "moderate", "undo": "moderate"}

    def list(self, request: Request) -> Response:
        """Every decision, newest first."""
        rows = decisions()
        for name, path in FILTERS.items():
            if name in self.asked:
                rows = rows.filter(**{path: self.asked[name]})
        return self.paged(rows)

    def retrieve(self, request: Request, public_id: str) -> Response:
        """One decision, with where it stands."""
        return tagged(request, DecisionSerializer(decision_by_id(public_id)).data)

    @extend_schema(request=DecisionInput, responses={201: DecisionSerializer})
    def create(self, request: Request) -> Response:
        """Decide; or propose, where a second person has to agree."""
        return answer_once(request, lambda: self._decide(request))

    def _decide(self, request: Request) -> Response:
        sent = _checked(request)
        conflict, reports = _named(sent, request)
        made = decide(
            by=request.user,
            act=sent["act"],
            reason=sent["reason"],
            conflict=conflict,
            reports=reports,
            reason_code=sent.get("reason_code", ""),
            due=sent.get("due"),
            condition=_condition(sent, conflict),
            changes=sent.get("changes"),
            expected_version=sent.get("version"),
        )
        return self._made(request, made)

    @extend_schema(request=DecisionInput, responses=ForeseenSerializer)
    @action(detail=False, methods=["post"])
    def foresee(self, request: Request) -> Response:
        """What a decision would change, computed and not written."""
        sent = _checked(request)
        conflict, reports = _named(sent, request)
        plan: Plan = plan_of(
            sent["act"], conflict, reports, condition=_condition(sent, conflict), changes=sent.get("changes")
        )
        moved = foresee(plan)
        second = needs_a_second(sent["act"], any(one.verdict_changes for one in moved))
        return Response({"needs_a_second": second, "expected": told(moved)})

    @extend_schema(request=ReasonInput, responses={201: DecisionSerializer})
    @action(detail=True, methods=["post"])
    def agree(self, request: Request, public_id: str) -> Response:
        """Agree to a proposal, as a second moderator or as the author whose gear is corrected."""
        return self._answered(request, public_id, agree=True)

    @extend_schema(request=ReasonInput, responses={201: DecisionSerializer})
    @action(detail=True, methods=["post"])
    def decline(self, request: Request, public_id: str) -> Response:
        """Decline a proposal, or withdraw one of yours."""
        return self._answered(request, public_id, agree=False)

    @extend_schema(request=ReasonInput, responses={201: DecisionSerializer})
    @action(detail=True, methods=["post"])
    def undo(self, request: Request, public_id: str) -> Response:
        """Take a decision back that is in force."""

        def act() -> Response:
            decision = decision_by_id(public_id)
            made = undo_decision(decision=decision, by=request.user, reason=_reason(request))
            return self._made(request, made)

        return answer_once(request, act)

    def _answered(self, request: Request, public_id: str, *, agree: bool) -> Response:
        def act() -> Response:
            decision = decision_by_id(public_id)
            made = answer_proposal(decision=decision, by=request.user, agree=agree, reason=_reason(request))
            return self._made(request, made)

        return answer_once(request, act)

    def _made(self, request: Request, made: Decision) -> Response:
        location = request.build_absolute_uri(self.reverse_action("detail", [made.public_id]))
        body = DecisionSerializer(decision_by_id(made.public_id)).data
        return Response(body, status=201, headers={"Location": location})


def _checked(request: Request) -> dict[str, Any]:
    sent = DecisionInput(data=request.data)
    sent.is_valid(raise_exception=True)
    return sent.validated_data


def _reason(request: Request) -> str:
    sent = ReasonInput(data=request.data)
    sent.is_valid(raise_exception=True)
    return sent.validated_data["reason"]


def _named(sent: dict[str, Any], request: Request) -> tuple[Conflict | None, list[Report]]:
    conflict = conflict_by_id(sent["conflict"]) if "conflict" in sent else None
    return conflict, [report_for(public_id, request.user) for public_id in sent.get("reports", ())]


def _condition(sent: dict[str, Any], conflict: Conflict | None):
    if "factor" not in sent:
        return None
    known = split_conditions(conflict.explanations) if conflict else {}
    if sent["factor"] not in known:
        raise InvalidInput(
            Problem(
                code="not-a-choice",
                field="factor",
                value=sent["factor"],
                says=f"The conflict’s explanations name no condition “{sent['factor']}” to state standings by.",
                remedy=f"Use one of: {', '.join(known)}." if known else "Decide otherwise.",
            )
        )
    return known[sent["factor"]]
