from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import Catalogue
from api.strict import StrictSerializer
from registry.reports.models import ConversionKind, Rig
from registry.reports.services import save_rig


class RigSerializer(serializers.ModelSerializer):
    id = serializers.CharField(source="public_id", read_only=True)
    title = serializers.CharField(source="__str__", read_only=True)
    body = serializers.SlugRelatedField("slug", read_only=True)
    conversion = serializers.ChoiceField(choices=ConversionKind.choices, read_only=True)

    class Meta:
        model = Rig
        fields = ["id", "title", "body", "conversion", "cut_on_nm", "label", "created_at"]
        read_only_fields = fields


class RigInput(StrictSerializer):
    body = serializers.CharField(help_text="Slug or name of the camera body.")
    conversion = serializers.ChoiceField(choices=ConversionKind.choices)
    cut_on_nm = serializers.FloatField(
        required=False, allow_null=True, help_text="Needed for long-pass, 400–1100."
    )
    label = serializers.CharField(required=False, allow_blank=True, max_length=80)


class Rigs(Catalogue):
    """Your own bodies with their conversions."""

    queryset = Rig.objects.none()
    serializer_class = RigSerializer
    lookup_field = "public_id"
    ordering = ("id",)
    signed_in = True
    what = "rig of yours"

    def rows(self):
        return Rig.objects.filter(owner=self.request.user).select_related("body__maker").order_by("id")

    @extend_schema(request=RigInput, responses={201: RigSerializer})
    def create(self, request: Request) -> Response:
        """Add a rig; the same description gives the rig you have already."""
        return answer_once(request, lambda: self._create(request))

    def _create(self, request: Request) -> Response:
        sent = RigInput(data=request.data)
        sent.is_valid(raise_exception=True)
        rig = save_rig(owner=request.user, **sent.validated_data)
        location = request.build_absolute_uri(f"{request.path}{rig.public_id}/")
        return tagged(request, self.get_serializer(rig).data, status=201, headers={"Location": location})
