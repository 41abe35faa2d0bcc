from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers

from api.v1.gear import GearProposals, GearQuery, GearResource, GearSerializer
from api.v1.gear_inputs import FilterProposal
from registry.gear.models import Filter, Passes
from registry.gear.services import propose_filter


class FilterSerializer(GearSerializer):
    passes = serializers.ChoiceField(choices=Passes.choices, read_only=True)

    class Meta:
        model = Filter
        fields = [*GearSerializer.COMMON, "passes", "cut_on_nm", "cut_off_nm"]
        read_only_fields = fields


class FilterQuery(GearQuery):
    passes = serializers.ChoiceField(
        choices=Passes.choices, required=False, help_text="What it lets through."
    )


@extend_schema_view(create=extend_schema(request=FilterProposal, responses={201: FilterSerializer}))
class Filters(GearProposals, GearResource):
    """Filter models; cut_on_nm is where a long-pass reaches half its peak transmittance."""

    queryset = Filter.objects.select_related("maker").order_by("slug")
    serializer_class = proposal_shape = FilterSerializer
    propose = staticmethod(propose_filter)
    queries = {"list": FilterQuery}
    what = "filter"

    def filtered(self, rows):
        passes = self.asked.get("passes")
        return super().filtered(rows.filter(passes=passes) if passes else rows)
