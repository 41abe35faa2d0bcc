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

    queryset = Adapter.objects.select_related("maker").order_by("slug")
    serializer_class = AdapterSerializer
    what = "adapter"

    def rows(self):
        return super().rows().select_related("lens_mount", "body_mount")
