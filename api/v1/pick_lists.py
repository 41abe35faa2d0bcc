"""Lists of picks: signed recommendations, apart from standings. They are written on the site."""

from __future__ import annotations

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Catalogue, ListQuery
from registry.gear.models import GearKind
from registry.gear.queries import gear_by_slug
from registry.picks.models import PickList
from registry.picks.queries import pick_lists


class PickSerializer(serializers.Serializer):
    lens = serializers.SlugField(source="lens.slug")
    title = serializers.CharField(source="lens.__str__")
    reason = serializers.CharField(help_text="The author’s own words, as plain text.")


class PickListSerializer(serializers.ModelSerializer):
    id = serializers.CharField(source="public_id", read_only=True)
    author = serializers.CharField(source="author.name", read_only=True)
    picks = PickSerializer(many=True, read_only=True)

    class Meta:
        model = PickList
        fields = ["id", "title", "author", "about", "picks", "created_at", "updated_at"]
        read_only_fields = fields


class PickListQuery(ListQuery):
    lens = serializers.SlugField(required=False, help_text="Slug of a lens that the list names.")


class PickLists(Catalogue):
    """What people recommend, and why: opinions, which move no standing."""

    queryset = PickList.objects.none()
    serializer_class = PickListSerializer
    queries = {"list": PickListQuery}
    lookup_field = "public_id"
    what = "list of picks"

    def rows(self):
        return pick_lists()

    def list(self, request: Request) -> Response:
        """Lists of picks, the last changed first."""
        slug = self.asked.get("lens")
        lens = gear_by_slug(GearKind.LENS, slug) if slug else None
        return self.paged(pick_lists(lens=lens))

    def retrieve(self, request: Request, public_id: str) -> Response:
        """One list of picks."""
        return tagged(request, PickListSerializer(self.one(self.rows())).data)
