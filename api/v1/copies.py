from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import Catalogue, ListQuery
from api.strict import StrictSerializer
from registry.gear.models import GearKind
from registry.gear.queries import gear_by_slug
from registry.reports.models import Copy
from registry.reports.services import save_copy


class CopySerializer(serializers.ModelSerializer):
    """A copy. Its serial number is never shown; `serial_number_known` says whether its hash is kept."""

    id = serializers.CharField(source="public_id", read_only=True)
    lens = serializers.SlugRelatedField("slug", read_only=True)
    serial_number_known = serializers.SerializerMethodField()

    class Meta:
        model = Copy
        fields = ["id", "lens", "label", "serial_number_known", "created_at"]
        read_only_fields = fields

    def get_serial_number_known(self, copy: Copy) -> bool:
        return bool(copy.serial_hash)


class CopyInput(StrictSerializer):
    lens = serializers.SlugField(help_text="Slug of the lens.")
    label = serializers.CharField(
        required=False, max_length=80, help_text="How you call it; “my copy” unless stated."
    )
    serial_number = serializers.CharField(
        required=False, max_length=60, help_text="Kept only as a keyed hash, to recognise the copy elsewhere."
    )


class CopyQuery(ListQuery):
    lens = serializers.SlugField(required=False, help_text="Slug of a lens.")


class Copies(Catalogue):
    """The physical lenses that you test."""

    queryset = Copy.objects.none()
    serializer_class = CopySerializer
    queries = {"list": CopyQuery}
    lookup_field = "public_id"
    ordering = ("id",)
    signed_in = True
    what = "copy of yours"

    def rows(self):
        rows = Copy.objects.filter(holder=self.request.user).select_related("lens").order_by("id")
        lens = self.asked.get("lens") if self.action == "list" else None
        return rows.filter(lens__slug=lens) if lens else rows

    @extend_schema(request=CopyInput, responses={201: CopySerializer})
    def create(self, request: Request) -> Response:
        """Add a copy; the same label of the same lens gives the copy you have already."""
        return answer_once(request, lambda: self._create(request))

    def _create(self, request: Request) -> Response:
        sent = CopyInput(data=request.data)
        sent.is_valid(raise_exception=True)
        lens = gear_by_slug(GearKind.LENS, sent.validated_data.pop("lens"))
        copy = save_copy(holder=request.user, lens=lens, **sent.validated_data)
        location = request.build_absolute_uri(f"{request.path}{copy.public_id}/")
        return tagged(request, self.get_serializer(copy).data, status=201, headers={"Location": location})
