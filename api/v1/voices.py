"""Accounts that look like one person’s: the signs of it, and deciding that they are, or are not."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.computed import ComputedPages
from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import Resource, take_nothing
from api.strict import StrictSerializer
from api.v1.decisions import DecisionSerializer, ExpectedSerializer
from api.v1.moderated import sees_all, sent_as
from api.v1.report_shapes import PersonSerializer
from registry.accounts.queries import account_by_public_id
from registry.moderation.models import Ground, VoiceSign
from registry.moderation.queries.decisions import decision_by_id
from registry.moderation.queries.voices import VoiceFinding, finding_of, findings, foreseen_as_one
from registry.moderation.rules import LONGEST_REASON, VOICES_TOLD
from registry.moderation.services.deciding import told
from registry.moderation.services.voices import decide_voices, let_all_count

MOST_ACCOUNTS = 50


class SignSerializer(serializers.ModelSerializer):
    """Why two accounts that tested one lens look like one. None of it is proof: a household shares an address, an
    evening’s guests register together, frames of one sensor share some grain."""

    accounts = serializers.SerializerMethodField(help_text="Ids of the two.")
    lens = serializers.SlugRelatedField("slug", read_only=True)
    ground = serializers.ChoiceField(choices=Ground.choices, read_only=True)
    figures = serializers.DictField(read_only=True, help_text="How close; its members depend on the ground.")

    class Meta:
        model = VoiceSign
        fields = ["accounts", "lens", "ground", "figures", "found_at"]
        read_only_fields = fields

    def get_accounts(self, sign: VoiceSign) -> list[str]:
        return [sign.first.public_id, sign.second.public_id]


class VoiceRowSerializer(serializers.Serializer):
    """Accounts that look like one person’s. Nothing follows from it by itself."""

    id = serializers.CharField(source="key", help_text="That of the account that was there first.")
    words = serializers.CharField()
    since = serializers.DateTimeField()
    accounts = PersonSerializer(many=True)
    signs = SignSerializer(many=True)
    tests = serializers.SerializerMethodField(
        help_text="Ids of their reports on lenses that several of them tested."
    )
    waiting = serializers.SerializerMethodField(help_text="Those of them that wait to count.")

    def get_tests(self, finding: VoiceFinding) -> list[str]:
        return [report.public_id for report in finding.tests]

    def get_waiting(self, finding: VoiceFinding) -> list[str]:
        return [report.public_id for report in finding.waiting]


class VoiceFindingSerializer(VoiceRowSerializer):
    expected = serializers.SerializerMethodField(help_text="What would change if they counted as one voice.")

    def get_expected(self, finding: VoiceFinding) -> ExpectedSerializer(many=True):
        return ExpectedSerializer(told(foreseen_as_one(finding)), many=True).data


class VoicesInput(StrictSerializer):
    """Whether accounts are one person’s."""

    act = serializers.ChoiceField(choices=VOICES_TOLD)
    accounts = serializers.ListField(
        child=serializers.CharField(max_length=10), max_length=MOST_ACCOUNTS, help_text="Ids of two or more."
    )
    reason = serializers.CharField(max_length=LONGEST_REASON, help_text="Public: name no address.")


class CountedSerializer(serializers.Serializer):
    confirmed = serializers.IntegerField(help_text="How many reports count now that waited before.")


class Voices(Resource):
    """Accounts that look like one person’s, until moderators have decided."""

    queryset = VoiceSign.objects.none()
    serializer_class = VoiceFindingSerializer
    pagination_class = ComputedPages
    lookup_field = "public_id"
    lookup_value_regex = r"[0-9a-z]{1,10}"
    what = "finding"
    scopes = dict.fromkeys(("list", "retrieve", "create", "count"), "moderate")

    @extend_schema(responses=VoiceRowSerializer(many=True))
    def list(self, request: Request) -> Response:
        """Findings that wait for a decision, the oldest first."""
        sees_all(request)
        return self.paged(findings(), lambda page: VoiceRowSerializer(page, many=True).data)

    def retrieve(self, request: Request, public_id: str) -> Response:
        """The finding that an account is in, with what would change if its accounts counted as one voice."""
        sees_all(request)
        return tagged(request, VoiceFindingSerializer(finding_of(public_id)).data)

    @extend_schema(request=VoicesInput, responses={201: DecisionSerializer})
    def create(self, request: Request) -> Response:
        """Count accounts as one voice on every lens, or say that they are people of their own.

        It is a decision like any other: public, proposed where a verdict changes, and it can be taken back.
        """
        return answer_once(request, lambda: self._decide(request))

    @extend_schema(request=None, responses=CountedSerializer)
    @action(detail=True, methods=["post"])
    def count(self, request: Request, public_id: str) -> Response:
        """Let every waiting report of a finding’s accounts count."""
        take_nothing(request)
        sees_all(request)
        return Response(
            {"confirmed": let_all_count(by=request.user, accounts=finding_of(public_id).accounts)}
        )

    @staticmethod
    def key_of(finding: VoiceFinding) -> str:
        return finding.key

    def _decide(self, request: Request) -> Response:
        sent = sent_as(VoicesInput, request)
        accounts = [account_by_public_id(public_id) for public_id in dict.fromkeys(sent["accounts"])]
        made = decide_voices(by=request.user, act=sent["act"], accounts=accounts, reason=sent["reason"])
        address = self.reverse_action("list").replace("/voices/", f"/decisions/{made.public_id}/")
        shown: Any = DecisionSerializer(decision_by_id(made.public_id)).data
        return tagged(request, shown, status=201, headers={"Location": request.build_absolute_uri(address)})
