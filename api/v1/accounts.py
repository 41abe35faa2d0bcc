"""Accounts as moderators see them: what they submitted, their blocks, frames that others sent too."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Resource
from api.v1.blocks import BlockSerializer
from api.v1.moderated import sees_all
from registry.accounts.models import Account, Role
from registry.accounts.queries import account_by_public_id
from registry.moderation.queries.alike import frames_alike
from registry.moderation.queries.care import blocks
from registry.reports.models import ReportState
from registry.reports.queries import reports_of


class AlikeSerializer(serializers.Serializer):
    """Two frames of one lens by two accounts. Frames of one sensor share some grain, so likeness proves nothing."""

    image = serializers.CharField(source="one.public_id")
    report = serializers.CharField(source="one.report.public_id")
    other_image = serializers.CharField(source="other.public_id")
    other_report = serializers.CharField(source="other.report.public_id")
    other_account = serializers.CharField(source="other.owner.public_id")
    same_file = serializers.BooleanField(help_text="Byte for byte.")
    likeness = serializers.FloatField(help_text="Correlation of their grain, 0 to 1.")


class KnownAccountSerializer(serializers.Serializer):
    """One account, without what only it may know."""

    id = serializers.CharField(source="public_id")
    name = serializers.CharField()
    role = serializers.ChoiceField(choices=Role.choices)
    joined_at = serializers.DateTimeField()
    is_open = serializers.BooleanField(source="is_active", help_text="False once it is closed.")
    reports = serializers.SerializerMethodField(
        help_text="Ids of its reports, newest first, fifty at most; drafts are its own."
    )
    blocks = serializers.SerializerMethodField()
    frames_alike = serializers.SerializerMethodField(
        help_text="Frames that others sent too, the likest first."
    )

    def get_reports(self, account: Account) -> list[str]:
        shown = reports_of(account).exclude(state=ReportState.DRAFT)
        return list(shown.order_by("-id").values_list("public_id", flat=True)[:50])

    def get_blocks(self, account: Account) -> BlockSerializer(many=True):
        return BlockSerializer(blocks().filter(account=account), many=True).data

    def get_frames_alike(self, account: Account) -> AlikeSerializer(many=True):
        return AlikeSerializer(frames_alike(account), many=True).data


class Accounts(Resource):
    """Accounts, for moderators."""

    queryset = Account.objects.none()
    serializer_class = KnownAccountSerializer
    lookup_field = "public_id"
    lookup_value_regex = r"[0-9a-z]{1,10}"
    what = "account"
    scopes = {"retrieve": "moderate"}

    def retrieve(self, request: Request, public_id: str) -> Response:
        """One account: its reports, its blocks, and frames that others sent too."""
        sees_all(request)
        shown: Any = KnownAccountSerializer(account_by_public_id(public_id)).data
        return tagged(request, shown)
