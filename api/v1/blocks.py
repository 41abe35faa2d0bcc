"""Blocks: accounts that submit nothing for a while, or until someone lifts it."""

from __future__ import annotations

from typing import Any

from django.db.models import Q
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import Catalogue, ListQuery
from api.strict import StrictSerializer
from api.v1.decisions import ReasonInput
from api.v1.moderated import Named, act_on, sees_all, sent_as
from api.v1.report_shapes import PersonSerializer
from registry.accounts.models import Block
from registry.accounts.queries import account_by_public_id
from registry.errors import Conflict, Problem
from registry.moderation.queries.care import blocks
from registry.moderation.rules import LONGEST_REASON
from registry.moderation.services.appeals import block_account, lift_block


class BlockSerializer(serializers.ModelSerializer):
    id = serializers.IntegerField(source="pk", read_only=True)
    account = PersonSerializer(read_only=True)
    by = Named(read_only=True)
    in_force = serializers.SerializerMethodField()
    lifted_by = Named(read_only=True, allow_null=True)
    until = serializers.DateTimeField(
        read_only=True, allow_null=True, help_text="Null where someone has to lift it."
    )

    class Meta:
        model = Block
        fields = ["id", "account", "reason", "by", "at", "until", "in_force", "lifted_by", "lifted_at"]
        read_only_fields = fields

    def get_in_force(self, block: Block) -> bool:
        return not block.is_over


class BlockInput(StrictSerializer):
    """Whom, why, and for how long."""

    account = serializers.CharField(max_length=10, help_text="Id of the account.")
    reason = serializers.CharField(max_length=LONGEST_REASON, help_text="Whom it concerns reads it.")
    until = serializers.DateTimeField(
        required=False,
        allow_null=True,
        help_text="When it ends by itself; it is lifted by someone without it.",
    )


class BlockQuery(ListQuery):
    account = serializers.CharField(required=False, max_length=10, help_text="Id of an account.")
    in_force = serializers.BooleanField(
        required=False, allow_null=True, default=None, help_text="Both unless stated."
    )


class Blocks(Catalogue):
    """Blocked accounts: your own blocks, and everyone’s with the scope “moderate”."""

    signed_in = True
    queryset = Block.objects.none()
    serializer_class = BlockSerializer
    queries = {"list": BlockQuery}
    orders = {"newest": ("-id",), "oldest": ("id",)}
    lookup_field = "pk"
    lookup_value_regex = r"\d{1,15}"
    what = "block"
    scopes = {"create": "moderate", "lift": "moderate"}

    def rows(self) -> Any:
        return blocks() if sees_all(self.request) else blocks().filter(account=self.request.user)

    def list(self, request: Request) -> Response:
        """Blocks, those that are over too, newest first."""
        rows = self.rows()
        if account := self.asked.get("account"):
            rows = rows.filter(account__public_id=account)
        if self.asked["in_force"] is not None:
            lasts = Q(lifted_at=None) & (Q(until=None) | Q(until__gt=timezone.now()))
            rows = rows.filter(lasts if self.asked["in_force"] else ~lasts)
        return self.paged(rows)

    def retrieve(self, request: Request, pk: str) -> Response:
        """One block."""
        return tagged(request, self._shown(self.one(self.rows())))

    @extend_schema(request=BlockInput, responses={201: BlockSerializer})
    def create(self, request: Request) -> Response:
        """Let an account submit nothing more. What it submitted stays and counts; it can appeal."""
        return answer_once(request, lambda: self._block(request))

    @extend_schema(request=ReasonInput, responses=BlockSerializer)
    @action(detail=True, methods=["post"])
    def lift(self, request: Request, pk: str) -> Response:
        """Let an account submit again."""
        reason = sent_as(ReasonInput, request)["reason"]
        return act_on(
            request,
            held=Block.objects.filter(pk=pk),
            read=lambda: self.one(blocks()),
            act=lambda block: _lift(block, request, reason),
            shown=self._shown,
        )

    def _block(self, request: Request) -> Response:
        sent = sent_as(BlockInput, request)
        account = account_by_public_id(sent.pop("account"))
        block = block_account(account=account, by=request.user, **sent)
        location = request.build_absolute_uri(self.reverse_action("detail", [block.pk]))
        return tagged(
            request, self._shown(blocks().get(pk=block.pk)), status=201, headers={"Location": location}
        )

    @staticmethod
    def _shown(block: Block) -> dict[str, Any]:
        return BlockSerializer(block).data


def _lift(block: Block, request: Request, reason: str) -> None:
    if block.is_over:
        raise Conflict(
            Problem(
                code="already-over",
                field="block",
                value=block.pk,
                says=f"Block {block.pk} is over already.",
                remedy="Nothing is left to lift.",
            )
        )
    lift_block(block=block, by=request.user, reason=reason)
