from rest_framework import serializers

from api.v1.gear import GearProposals, GearQuery, GearResource, GearSerializer
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


class Bodies(GearProposals, GearResource):
    """Camera bodies, whether or not converted."""

    model = Body
    serializer_class = proposal_shape = BodySerializer
    propose = staticmethod(propose_body)
    queries = {"list": BodyQuery}
    what = "body"

    def get_queryset(self):
        return super().get_queryset().select_related("mount")

    def filtered(self, rows):
        mount = self.asked.get("mount")
        return super().filtered(rows.filter(mount__slug=mount) if mount else rows)
