"""Releases: frozen, citable editions of the open data, and the standings that they froze."""

from __future__ import annotations

from django.conf import settings
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Catalogue, ListQuery
from registry.publishing.models import Release, ReleasedStanding
from registry.publishing.package import Edition, citation
from registry.publishing.queries import release_by_version


class ReleaseFileSerializer(serializers.Serializer):
    sha256 = serializers.CharField()
    bytes = serializers.IntegerField()
    rows = serializers.IntegerField(required=False, help_text="Of tables only.")


class CitationSerializer(serializers.Serializer):
    text = serializers.CharField()
    bibtex = serializers.CharField()
    cff = serializers.CharField(help_text="CITATION.cff")


class ReleaseSerializer(serializers.ModelSerializer):
    """A release, with every file's checksum. Files lie at <address>files/<path>."""

    address = serializers.SerializerMethodField(help_text="Its permanent address.")
    counts = serializers.DictField(child=serializers.IntegerField(), help_text="Rows by table.")
    files = serializers.DictField(child=ReleaseFileSerializer(), help_text="By path.")
    changes = serializers.DictField(help_text="Against the release before.")
    citation = serializers.SerializerMethodField()

    class Meta:
        model = Release
        fields = ["version", "made_at", "method_version", "address", "counts", "files", "changes", "citation"]
        read_only_fields = fields

    def get_address(self, release: Release) -> str:
        return f"{settings.PUBLIC_URL}/releases/{release.version}/"

    def get_citation(self, release: Release) -> CitationSerializer:
        edition = Edition(release.version, release.made_at, release.method_version, self.get_address(release))
        return citation(edition)


class ReleasedStandingSerializer(serializers.ModelSerializer):
    """A standing as the release froze it. `standing` holds the fields of a standing by their names."""

    lens = serializers.CharField(source="lens_slug")
    standing = serializers.DictField(source="content")

    class Meta:
        model = ReleasedStanding
        fields = ["lens", "teleconverter", "adapter", "cut_on_group", "focal_zone", "standing"]
        read_only_fields = fields


class ReleasedQuery(ListQuery):
    lens = serializers.SlugField(required=False, help_text="Slug of a lens.")


class Releases(Catalogue):
    """Frozen editions of the open data."""

    queryset = Release.objects.order_by("id")
    serializer_class = ReleaseSerializer
    queries = {"standings": ReleasedQuery}
    lookup_field = "version"
    lookup_value_regex = r"[\w.]{1,20}"
    orders = {"oldest": ("id",), "newest": ("-id",)}
    what = "release"

    def retrieve(self, request: Request, version: str) -> Response:
        """One release, with the checksum of every file and its citation."""
        return tagged(request, ReleaseSerializer(release_by_version(version)).data)

    @extend_schema(responses=ReleasedStandingSerializer(many=True))
    def standings(self, request: Request, version: str) -> Response:
        """The standings that a release froze: the same for ever."""
        rows = ReleasedStanding.objects.filter(release=release_by_version(version)).order_by("pk")
        if lens := self.asked.get("lens"):
            rows = rows.filter(lens_slug=lens)
        return self.paged(rows, lambda page: ReleasedStandingSerializer(page, many=True).data)
