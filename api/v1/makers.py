from rest_framework import serializers

from api.resource import Catalogue
from registry.gear.models import Maker


class MakerSerializer(serializers.ModelSerializer):
    class Meta:
        model = Maker
        fields = ["slug", "name"]
        read_only_fields = fields


class Makers(Catalogue):
    """Makers of lenses, bodies and filters."""

    queryset = Maker.objects.order_by("slug")
    serializer_class = MakerSerializer
    what = "maker"
