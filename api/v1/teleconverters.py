from rest_framework import serializers

from api.v1.gear import GearResource, GearSerializer
from registry.gear.models import Teleconverter


class TeleconverterSerializer(GearSerializer):
    mounts = serializers.SlugRelatedField("slug", many=True, read_only=True)

    class Meta:
        model = Teleconverter
        fields = [*GearSerializer.COMMON, "magnification", "mounts"]
        read_only_fields = fields


class Teleconverters(GearResource):
    """Teleconverters; a lens behind one has standings of its own."""

    queryset = Teleconverter.objects.select_related("maker").order_by("slug")
    serializer_class = TeleconverterSerializer
    what = "teleconverter"

    def rows(self):
        return super().rows().prefetch_related("mounts")
