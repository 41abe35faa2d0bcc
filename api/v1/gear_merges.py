"""Doubles that were made one: all that named the double names the kept one; it can be taken back."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import Catalogue, ListQuery, take_nothing
from api.strict import StrictSerializer, WordField
from api.v1.gear_named import named
from api.v1.moderated import Named, act_on, sent_as
from registry.errors import Conflict, Problem
from registry.gear.holding import gives_way
from registry.gear.models import GearKind, Merge
from registry.moderation.queries.catalogue import merges
from registry.moderation.rules import LONGEST_REASON
from registry.moderation.services.catalogue import merge_doubles, part_doubles


class MergeSerializer(serializers.ModelSerializer):
    """The former slug leads to the kept one while the merge holds."""

    id = serializers.IntegerField(source="pk", read_only=True)
    kind = serializers.ChoiceField(choices=GearKind.choices, read_only=True)
    by = Named(read_only=True)
    taken_back_by = Named(read_only=True, allow_null=True)

    class Meta:
        model = Merge
        fields = [
            "id", "kind", "former_slug", "former_name", "kept_slug", "reason", "by", "at", "taken_back_by",
            "taken_back_at",
        ]  # fmt: skip
        read_only_fields = fields


class MergeInput(StrictSerializer):
    """Which is the double, and which one stays."""

    kind = serializers.ChoiceField(choices=GearKind.choices)
    double = serializers.SlugField(max_length=140, help_text="Slug of the one that goes.")
    into = serializers.SlugField(max_length=140, help_text="Slug of the one that stays.")
    reason = serializers.CharField(
        required=False, allow_blank=True, max_length=LONGEST_REASON, help_text="Public."
    )


class MergeQuery(ListQuery):
    kind = WordField(choices=GearKind.choices, required=False)
    slug = serializers.SlugField(required=False, max_length=140, help_text="Former or kept slug.")


class GearMerges(Catalogue):
    """Merges, those taken back too."""

    queryset = Merge.objects.none()
    serializer_class = MergeSerializer
    queries = {"list": MergeQuery}
    orders = {"newest": ("-id",), "oldest": ("id",)}
    lookup_field = "pk"
    lookup_value_regex = r"\d{1,15}"
    what = "merge"
    scopes = {"create": "moderate", "take_back": "moderate"}

    def rows(self) -> Any:
        return merges().order_by("-id")

    def list(self, request: Request) -> Response:
        """Merges, newest first."""
        rows = self.rows()
        if "kind" in self.asked:
            rows = rows.filter(kind=self.asked["kind"])
        if slug := self.asked.get("slug"):
            rows = rows.filter(former_slug=slug) | rows.filter(kept_slug=slug)
        return self.paged(rows)

    def retrieve(self, request: Request, pk: str) -> Response:
        """One merge."""
        return tagged(request, self._shown(self.one(self.rows())))

    @extend_schema(request=MergeInput, responses={201: MergeSerializer})
    def create(self, request: Request) -> Response:
        """Merge two rows into one: reports, copies, rigs, bags, watches, picks and sources go over to the kept one."""
        # The whole answer begins again where the merge gives way to someone who writes about the gear.
        return gives_way(answer_once)(request, lambda: self._merge(request))

    @extend_schema(request=None, responses=MergeSerializer)
    @action(detail=True, methods=["post"], url_path="take-back")
    def take_back(self, request: Request, pk: str) -> Response:
        """Make two of them again, with everything that was the double’s."""
        take_nothing(request)
        return gives_way(act_on)(
            request,
            held=Merge.objects.filter(pk=pk),
            read=lambda: self.one(self.rows()),
            act=lambda merge: _part(merge, request),
            shown=self._shown,
        )

    def _merge(self, request: Request) -> Response:
        sent = sent_as(MergeInput, request)
        double, into = (named(sent["kind"], sent[name], name) for name in ("double", "into"))
        merge = merge_doubles(double=double, into=into, by=request.user, reason=sent.get("reason", ""))
        location = request.build_absolute_uri(self.reverse_action("detail", [merge.pk]))
        return tagged(
            request, self._shown(merges().get(pk=merge.pk)), status=201, headers={"Location": location}
        )

    @staticmethod
    def _shown(merge: Merge) -> dict[str, Any]:
        return MergeSerializer(merge).data


def _part(merge: Merge, request: Request) -> None:
    if merge.taken_back_at is not None:
        raise Conflict(
            Problem(
                code="already-taken-back",
                field="merge",
                value=merge.pk,
                says=f"Merge {merge.pk} is taken back already.",
                remedy="They are two again.",
            )
        )
    part_doubles(merge=merge, by=request.user)
