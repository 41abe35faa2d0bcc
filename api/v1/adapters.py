from rest_framework import serializers

from api.v1.gear import GearResource, GearSerializer
from registry.gear.models import Adapter


class AdapterSerializer(GearSerializer):
    lens_mount = serializers.SlugRelatedField("slug", read_only=True)
    body_mount = serializers.SlugRelatedField("slug", read_only=True)

    class Meta:
        model = Adapter
        fields = [*GearSerializer.COMMON, "lens_mount", "body_mount", "has_glass", "magnification"]
        read_only_fields = fields


class Adapters(GearResource):
    """Mount adapters; a lens on one with glass in it has standings of its own."""

    model = Adapter
    serializer_class = AdapterSerializer
    what = "adapter"

    def get_queryset(self):
        return super().get_queryset().select_related("lens_mount", "body_mount")
