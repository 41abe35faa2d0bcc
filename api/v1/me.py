"""One's own account and its tokens."""

from __future__ import annotations

from datetime import timedelta

from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import require_match, tagged
from api.idempotency import answer_once
from api.resource import Resource
from api.scopes import scopes_of
from api.strict import StrictSerializer, WordField
from registry.accounts.models import Account, Role, TokenGrant
from registry.accounts.queries import token_of, tokens_of
from registry.accounts.rules import SCOPES
from registry.accounts.services import issue_token, revoke_token
from registry.errors import NotAllowed, Problem

LONGEST_DAYS = 3650


class AccountSerializer(serializers.ModelSerializer):
    id = serializers.CharField(source="public_id", read_only=True)
    role = serializers.ChoiceField(choices=Role.choices, read_only=True)
    scopes = serializers.SerializerMethodField(help_text="What this session or token may do.")

    class Meta:
        model = Account
        fields = ["id", "name", "role", "joined_at", "scopes"]
        read_only_fields = fields

    def get_scopes(self, account: Account) -> list[str]:
        return sorted(scopes_of(self.context["request"]))


class TokenSerializer(serializers.ModelSerializer):
    id = serializers.IntegerField(source="pk", read_only=True)
    scopes = serializers.ListField(child=serializers.ChoiceField(choices=SCOPES), read_only=True)
    created_at = serializers.DateTimeField(source="token.created", read_only=True)
    expires_at = serializers.DateTimeField(source="token.expiry", read_only=True, allow_null=True)

    class Meta:
        model = TokenGrant
        fields = ["id", "name", "scopes", "created_at", "expires_at", "last_used_at"]
        read_only_fields = fields


class NewTokenSerializer(TokenSerializer):
    token = serializers.CharField(
        read_only=True,
        allow_null=True,
        help_text="The secret, told this once; null when a request is repeated.",
    )

    class Meta(TokenSerializer.Meta):
        fields = [*TokenSerializer.Meta.fields, "token"]
        read_only_fields = fields


class TokenInput(StrictSerializer):
    name = serializers.CharField(max_length=60, help_text="What it is for.")
    scopes = serializers.ListField(child=WordField(choices=SCOPES), allow_empty=False)
    days = serializers.IntegerField(
        required=False,
        min_value=1,
        max_value=LONGEST_DAYS,
        help_text="How long it holds; for ever unless stated.",
    )


class Me(Resource):
    """Your account, and the tokens that act for it."""

    signed_in = True
    serializer_class = AccountSerializer
    pagination_class = None
    scopes = {"retrieve": "read", "tokens": "read"}

    def retrieve(self, request: Request) -> Response:
        """Your account and what this session or token may do."""
        return tagged(request, AccountSerializer(request.user, context={"request": request}).data)


class Tokens(Resource):
    """Your API tokens. A token can make tokens no mightier than itself."""

    signed_in = True
    serializer_class = TokenSerializer
    orders = {"oldest": ("id",), "newest": ("-id",)}
    lookup_field = "id"
    lookup_value_regex = r"\d{1,9}"

    queryset = TokenGrant.objects.none()

    def list(self, request: Request) -> Response:
        """Your tokens, without their secrets."""
        return self.paged(tokens_of(request.user))

    @extend_schema(request=TokenInput, responses={201: NewTokenSerializer})
    def create(self, request: Request) -> Response:
        """Make a token. Its secret is told in this answer only."""
        return answer_once(request, lambda: self._create(request), withheld=("token",))

    def retrieve(self, request: Request, id: str) -> Response:
        """One of your tokens, without its secret."""
        return tagged(request, TokenSerializer(token_of(request.user, int(id))).data)

    def destroy(self, request: Request, id: str) -> Response:
        """Revoke a token; requests with it fail from now on."""
        with transaction.atomic():
            require_match(request, TokenSerializer(token_of(request.user, int(id))).data)
            revoke_token(account=request.user, grant_id=int(id))
        return Response(status=204)

    def _create(self, request: Request) -> Response:
        sent = TokenInput(data=request.data)
        sent.is_valid(raise_exception=True)
        _no_mightier(scopes_of(request), sent.validated_data["scopes"])
        days = sent.validated_data.pop("days", None)
        lives = timedelta(days=days) if days else None
        grant, secret = issue_token(account=request.user, lives=lives, **sent.validated_data)
        body = TokenSerializer(grant).data | {"token": secret}
        location = request.build_absolute_uri(f"{request.path}{grant.pk}/")
        return Response(body, status=201, headers={"Location": location, "Cache-Control": "no-store"})


def _no_mightier(own: frozenset[str], wanted: list[str]) -> None:
    if beyond := sorted(set(wanted) - own):
        raise NotAllowed(
            Problem(
                code="scope-beyond-own",
                field="scopes",
                value=beyond[0],
                says=f"What you signed in with may not give the scope “{beyond[0]}”.",
                remedy="Sign in on the site to make a token with that scope.",
            )
        )
