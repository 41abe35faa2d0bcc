"""Lenses: looked up with one sentence each, read with the whole answer at the reader's cut-on."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.kept_answers import KeptAnswers
from api.resource import Catalogue
from api.strict import FiniteFloatField, StrictSerializer
from api.v1.answers import AnswerSerializer, StopSerializer
from api.v1.gear import GearProposals, GearSerializer
from api.v1.gear_inputs import LensProposal
from registry.consensus.constants import VISIBLE_EV
from registry.gear.models import FilterSeat, GearKind, Lens, Projection
from registry.gear.queries import gear_by_slug
from registry.gear.services import propose_lens
from registry.standings.queries import catalogue_stamp, filter_lenses, lens_answer, lens_rows, lens_stamp
from registry.standings.queries.lens_filters import LensFilters


class LensSerializer(GearSerializer):
    mounts = serializers.SlugRelatedField("slug", many=True, read_only=True)
    is_zoom = serializers.BooleanField(read_only=True)
    projection = serializers.ChoiceField(choices=Projection.choices, read_only=True)
    filter_seat = serializers.ChoiceField(choices=FilterSeat.choices, read_only=True)

    class Meta:
        model = Lens
        fields = [
            *GearSerializer.COMMON,
            "optical_revision", "mounts", "focal_min_mm", "focal_max_mm", "is_zoom",
            "widest_f", "widest_f_tele", "narrowest_f", "projection",
            "filter_thread_mm", "filter_seat", "image_circle_mm", "mass_g", "length_mm", "year",
        ]  # fmt: skip
        read_only_fields = fields


class LensRowSerializer(serializers.Serializer):
    """A lens in a list: its facts, one sentence at the reader's cut-on, and a small ladder."""

    lens = LensSerializer()
    sentence = serializers.CharField()
    tested = serializers.BooleanField()
    verdict = serializers.CharField()
    f_number = serializers.FloatField(allow_null=True)
    confidence = serializers.CharField(allow_blank=True)
    n_independent = serializers.IntegerField()
    focal_zone = serializers.CharField(
        allow_blank=True, help_text="The worst tested zone; empty if untested."
    )
    ladder = StopSerializer(many=True)


class LensWithAnswerSerializer(serializers.Serializer):
    lens = LensSerializer()
    answer = AnswerSerializer()


class Reader(StrictSerializer):
    """What the reader looks through."""

    cut_on_nm = FiniteFloatField(
        required=False,
        min_value=400,
        max_value=1100,
        help_text="Your effective cut-on in nm; 720 unless stated.",
    )
    visible_ev = FiniteFloatField(
        default=VISIBLE_EV, min_value=0.03, max_value=0.30, help_text="Excess that you would notice, in EV."
    )


class AnswerQuery(Reader):
    teleconverter = serializers.SlugField(
        required=False, help_text="Slug of the teleconverter behind the lens."
    )
    adapter = serializers.SlugField(required=False, help_text="Slug of the adapter it sits on.")


@extend_schema_view(create=extend_schema(request=LensProposal, responses={201: LensSerializer}))
class Lenses(KeptAnswers, GearProposals, Catalogue):
    """Lenses, with what the registry says of them in infrared."""

    queryset = Lens.objects.select_related("maker").prefetch_related("mounts").order_by("slug")
    serializer_class = LensRowSerializer
    queries = {"retrieve": AnswerQuery}
    filterset_class = LensFilters
    what = "lens"
    propose = staticmethod(propose_lens)
    proposal_shape = LensSerializer

    def stamp(self, action: str, slug: str = "") -> object | None:
        """Lists change with any lens, one lens's answer only with itself."""
        return catalogue_stamp() if action == "list" else lens_stamp(slug)

    def list(self, request: Request) -> Response:
        """Lenses that pass every filter, each with one sentence at your cut-on."""
        asked = self.filters().criteria()
        lenses = filter_lenses(asked).select_related("maker").prefetch_related("mounts")
        reader = {"cut_on_nm": asked.cut_on_nm, "visible_ev": asked.visible_ev}
        return self.paged(lenses, lambda page: LensRowSerializer(lens_rows(page, **reader), many=True).data)

    @extend_schema(responses=LensWithAnswerSerializer)
    def retrieve(self, request: Request, slug: str) -> Response:
        """One lens: its facts, and all that is known of it at your cut-on and tolerance."""
        lens = gear_by_slug(GearKind.LENS, slug)
        reader = {name: self.asked[name] for name in ("cut_on_nm", "visible_ev") if name in self.asked}
        glass = {
            kind.value: gear_by_slug(kind, self.asked[kind.value])
            for kind in (GearKind.TELECONVERTER, GearKind.ADAPTER)
            if kind.value in self.asked
        }
        answer = lens_answer(lens, **reader, **glass)
        return tagged(request, LensWithAnswerSerializer({"lens": lens, "answer": answer}).data)
