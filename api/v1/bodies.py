from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers

from api.v1.gear import GearProposals, GearQuery, GearResource, GearSerializer
from api.v1.gear_inputs import BodyProposal
from registry.gear.models import Body
from registry.gear.services import propose_body


class BodySerializer(GearSerializer):
    mount = serializers.SlugRelatedField("slug", read_only=True, allow_null=True)

    class Meta:
        model = Body
        fields = [
            *GearSerializer.COMMON,
            "mount",
            "sensor_width_mm",
            "sensor_height_mm",
            "megapixels",
            "year",
        ]
        read_only_fields = fields


class BodyQuery(GearQuery):
    mount = serializers.SlugField(required=False, help_text="Slug of the mount.")


@extend_schema_view(create=extend_schema(request=BodyProposal, responses={201: BodySerializer}))
class Bodies(GearProposals, GearResource):
    """Camera bodies, whether or not converted."""

    queryset = Body.objects.select_related("maker").order_by("slug")
    serializer_class = proposal_shape = BodySerializer
    propose = staticmethod(propose_body)
    queries = {"list": BodyQuery}
    what = "body"

    def rows(self):
        return super().rows().select_related("mount")

    def filtered(self, rows):
        mount = self.asked.get("mount")
        return super().filtered(rows.filter(mount__slug=mount) if mount else rows)
