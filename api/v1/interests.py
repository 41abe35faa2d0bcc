"""What you have declared that you earn by: you decide on nothing of it."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import require_match, tagged
from api.idempotency import answer_once
from api.resource import Catalogue
from api.strict import StrictSerializer
from api.v1.moderated import sent_as
from registry.gear.models import GearKind
from registry.gear.queries import gear_by_slug, maker_by_slug
from registry.moderation.models import Interest
from registry.moderation.services import declare_interest, withdraw_interest


class InterestSerializer(serializers.ModelSerializer):
    id = serializers.IntegerField(source="pk", read_only=True)
    lens = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)
    maker = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)

    class Meta:
        model = Interest
        fields = ["id", "lens", "maker", "declared_at"]
        read_only_fields = fields


class InterestInput(StrictSerializer):
    """One lens, or all lenses of one maker."""

    lens = serializers.SlugField(required=False, max_length=140, help_text="Slug of a lens.")
    maker = serializers.SlugField(required=False, max_length=140, help_text="Slug of a maker.")


class Interests(Catalogue):
    """Your declared interests. The event log tells of them, so that everyone can see who decided without one."""

    signed_in = True
    queryset = Interest.objects.none()
    serializer_class = InterestSerializer
    ordering = ("id",)
    lookup_field = "pk"
    lookup_value_regex = r"\d{1,15}"
    what = "interest of yours"

    def rows(self) -> Any:
        mine = Interest.objects.filter(account=self.request.user)
        return mine.select_related("lens", "maker").order_by("id")

    def list(self, request: Request) -> Response:
        """What you have declared, the oldest first."""
        return self.paged(self.rows())

    def retrieve(self, request: Request, pk: str) -> Response:
        """One of your declared interests."""
        return tagged(request, InterestSerializer(self.one(self.rows())).data)

    @extend_schema(request=InterestInput, responses={201: InterestSerializer})
    def create(self, request: Request) -> Response:
        """Declare that you sell, make or are paid for a lens, or a maker’s lenses. Said twice, it is said once."""
        return answer_once(request, lambda: self._declare(request))

    def destroy(self, request: Request, pk: str) -> Response:
        """Say that it is over."""
        with transaction.atomic():
            list(Interest.objects.filter(pk=pk, account=request.user).select_for_update(no_key=True))
            require_match(request, InterestSerializer(self.one(self.rows())).data)
            withdraw_interest(account=request.user, interest_id=int(pk))
        return Response(status=204)

    def _declare(self, request: Request) -> Response:
        sent = sent_as(InterestInput, request)
        made = declare_interest(
            account=request.user,
            lens=gear_by_slug(GearKind.LENS, sent["lens"]) if "lens" in sent else None,
            maker=maker_by_slug(sent["maker"]) if "maker" in sent else None,
        )
        location = request.build_absolute_uri(self.reverse_action("detail", [made.pk]))
        shown = InterestSerializer(self.rows().get(pk=made.pk)).data
        return tagged(request, shown, status=201, headers={"Location": location})
