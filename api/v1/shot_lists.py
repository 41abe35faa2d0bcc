"""Shot lists: what to photograph to test a lens, as the printed sheet says it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Resource
from api.strict import StrictSerializer
from registry.reports.models import ConversionKind
from registry.reports.rules.planning import Plan, read_plan
from registry.shotlists.cautions import CAUTIONS


class StopToSetSerializer(serializers.Serializer):
    """One aperture to set."""

    f_number = serializers.FloatField(help_text="Through all glass, as marked.")
    longer_ev = serializers.FloatField(
        help_text="How many stops longer the shutter stays open than at the widest aperture."
    )
    frames = serializers.IntegerField(help_text="How many to take, nothing touched between them.")
    why = serializers.ListField(child=serializers.CharField())


class SetUpSerializer(serializers.Serializer):
    """One focal length with its stops, widest first."""

    focal_length_mm = serializers.FloatField(help_text="As engraved.")
    recorded_mm = serializers.FloatField(help_text="Behind teleconverter and adapter.")
    widest_estimated = serializers.BooleanField(
        help_text="The widest aperture is inferred from the ends of the zoom."
    )
    stops = StopToSetSerializer(many=True)


class ControlSerializer(serializers.Serializer):
    """Frames in visible light at the working aperture: whether this camera can take them, and how, or why not."""

    possible = serializers.BooleanField()
    says = serializers.CharField()
    focal_lengths_mm = serializers.ListField(
        child=serializers.FloatField(), help_text="One frame at each, as engraved."
    )


class AdviceSerializer(serializers.Serializer):
    key = serializers.CharField()
    title = serializers.CharField()
    says = serializers.ListField(child=serializers.CharField())


class ShotListSerializer(serializers.Serializer):
    """What to photograph, in which order, with what to see to and to beware of."""

    lens = serializers.CharField()
    rig = serializers.CharField(allow_null=True)
    conversion = serializers.ChoiceField(choices=ConversionKind.choices, allow_null=True)
    filter = serializers.CharField(allow_null=True)
    teleconverter = serializers.CharField(allow_null=True)
    adapter = serializers.CharField(allow_null=True)
    cut_on_nm = serializers.FloatField(allow_null=True, help_text="Of conversion and filter together.")
    light_group = serializers.CharField(allow_blank=True, help_text="Where there is no single cut-on.")
    frames = serializers.IntegerField(help_text="In all: of the target, the control, and the proof picture.")
    minutes = serializers.IntegerField(help_text="About how long it takes; our estimate.")
    set_ups = SetUpSerializer(many=True)
    control = ControlSerializer()
    working_f_number = serializers.FloatField(
        help_text="For the control, and for the proof picture, which is not measured."
    )
    notes = serializers.ListField(
        child=serializers.CharField(), help_text="What this lens or camera asks for."
    )
    advice = AdviceSerializer(many=True)
    cautions = serializers.ListField(child=serializers.CharField())


_OF_THE_LIST = ("frames", "minutes", "set_ups", "control", "working_f_number", "notes", "advice")


def present(plan: Plan) -> dict[str, Any]:
    """A plan and its list as the serializer writes them."""
    gear = {
        name: (item := getattr(plan, name)) and item.slug
        for name in ("lens", "filter", "teleconverter", "adapter")
    }
    rig = plan.camera.rig
    camera = {
        "rig": rig and rig.public_id,
        "conversion": rig.conversion if rig else plan.camera.conversion,
        "cut_on_nm": plan.cut_on_nm,
        "light_group": plan.light_group,
    }
    shots = {name: getattr(plan.shot_list, name) for name in _OF_THE_LIST}
    return ShotListSerializer({**gear, **camera, **shots, "cautions": CAUTIONS}).data


class PlanQuery(StrictSerializer):
    """Values are checked by the rule that plans, which names the nearest known."""

    lens = serializers.CharField(help_text="Slug of the lens, or its name.")
    rig = serializers.CharField(required=False, help_text="One of your own rigs; needs a sign-in.")
    conversion = serializers.CharField(
        required=False, help_text=f"In place of a rig: {', '.join(ConversionKind.values)}."
    )
    cut_on_nm = serializers.CharField(required=False, help_text="Of that conversion, 400 to 1100.")
    filter = serializers.CharField(required=False, help_text="Slug or name of the filter on the lens.")
    teleconverter = serializers.CharField(required=False, help_text="Slug or name.")
    adapter = serializers.CharField(required=False, help_text="Slug or name.")


class ShotLists(Resource):
    """What to photograph to test a lens with a camera and a filter."""

    serializer_class = ShotListSerializer
    pagination_class = None
    queries = {"retrieve": PlanQuery}
    what = "shot list"

    @extend_schema(responses=ShotListSerializer)
    def retrieve(self, request: Request) -> Response:
        """The shot list of a lens: focal lengths, stops, exposure, advice and cautions. The page /lenses/…/shot-list/
        prints the same on one sheet."""
        plan = read_plan(self.asked, request.user)
        return tagged(request, present(plan))
