from rest_framework import serializers

from api.resource import Catalogue
from registry.gear.models import Mount


class MountSerializer(serializers.ModelSerializer):
    class Meta:
        model = Mount
        fields = ["slug", "name", "flange_distance_mm"]
        read_only_fields = fields


class Mounts(Catalogue):
    """Lens mounts, with their flange distance."""

    queryset = Mount.objects.order_by("slug")
    serializer_class = MountSerializer
    what = "mount"
