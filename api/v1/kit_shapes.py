"""Shapes of bags and kit plans: what programs send and what they are answered."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rest_framework import serializers

from api.strict import FiniteFloatField, StrictSerializer
from registry.bags.contents import LONGEST_LABEL, MOST_BODIES, MOST_CUT_ONS, STATES, Bag, BagBody
from registry.errors import InvalidInput, Problem
from registry.gear.models import FilterSeat, Projection
from registry.kits.bag import FrontFilter, Prices, Ring
from registry.kits.checks import MOST_PIECES
from registry.optics.field_of_view import FULL_FRAME_HALF_DIAGONAL_MM

MOST_LENSES = 60
MOST_ALTERNATIVES = 8


class FrontFilterField(StrictSerializer):
    """A round screw-in long-pass filter."""

    cut_on_nm = FiniteFloatField()
    diameter_mm = FiniteFloatField()


class RingField(StrictSerializer):
    """An adapter ring: it screws into lens_side_mm and takes a filter of filter_side_mm."""

    lens_side_mm = FiniteFloatField()
    filter_side_mm = FiniteFloatField()


class PricedFilter(FrontFilterField):
    price = serializers.DecimalField(max_digits=9, decimal_places=2)


class PricedRing(RingField):
    price = serializers.DecimalField(max_digits=9, decimal_places=2)


class PricesField(StrictSerializer):
    """What can be bought, in one currency. A filter that isn't listed is not for sale."""

    filters = PricedFilter(many=True, max_length=MOST_PIECES)
    ring = serializers.DecimalField(
        max_digits=9,
        decimal_places=2,
        required=False,
        allow_null=True,
        help_text="Of any step-up ring that rings doesn't list; without it only those are for sale.",
    )
    rings = PricedRing(many=True, required=False, max_length=MOST_PIECES)
    currency = serializers.CharField(
        required=False, allow_blank=True, max_length=12, help_text="A label only."
    )


class BodyField(StrictSerializer):
    """A camera that the lenses are used on."""

    label = serializers.CharField(required=False, allow_blank=True, max_length=LONGEST_LABEL)
    conversion_nm = FiniteFloatField(
        required=False,
        allow_null=True,
        help_text="What it passes without a filter on the lens; null for full spectrum or no conversion.",
    )
    half_diagonal_mm = FiniteFloatField(
        required=False,
        default=FULL_FRAME_HALF_DIAGONAL_MM,
        help_text="Of its sensor; that of 36 × 24 mm unless stated.",
    )


class CarriedLens(StrictSerializer):
    """A lens of a bag."""

    lens = serializers.SlugField(help_text="Slug.")
    state = serializers.ChoiceField(choices=STATES, required=False)
    hood = serializers.BooleanField(required=False, help_text="Used with a hood that attaches to it.")


class LensToServe(StrictSerializer):
    """A lens of the catalogue by its slug, or any other by the facts that matter for filters."""

    lens = serializers.SlugField(required=False, help_text="Slug; the catalogue then gives the facts.")
    state = serializers.ChoiceField(
        choices=STATES, required=False, help_text="As a bag has it; changes nothing here."
    )
    name = serializers.CharField(required=False, max_length=160)
    filter_thread_mm = FiniteFloatField(required=False, allow_null=True)
    focal_min_mm = FiniteFloatField(required=False, help_text="The shortest focal length.")
    filter_seat = serializers.ChoiceField(choices=FilterSeat.choices, required=False)
    projection = serializers.ChoiceField(choices=Projection.choices, required=False)
    hood = serializers.BooleanField(required=False, default=False)
    cut_ons_nm = serializers.ListField(
        child=FiniteFloatField(),
        required=False,
        max_length=MOST_CUT_ONS,
        help_text="Where it is used at other cut-ons than the rest.",
    )


class BagSerializer(serializers.Serializer):
    """A bag: what its owner has, considers, and photographs at. A kit plan can be asked for with it as it is,
    without id, updated_at and use."""

    id = serializers.CharField()
    lenses = CarriedLens(many=True)
    cut_ons_nm = serializers.ListField(child=serializers.FloatField())
    bodies = BodyField(many=True)
    filters = FrontFilterField(many=True)
    rings = RingField(many=True, help_text="One entry a copy.")
    prices = PricesField(allow_null=True)
    use = serializers.DictField(
        allow_null=True, help_text="Counts of frames by lens, focal length and f-number."
    )
    updated_at = serializers.DateTimeField()


class KitPlanInput(StrictSerializer):
    """What is to be served, what is there already, and how the kit may look."""

    lenses = LensToServe(many=True, min_length=1, max_length=MOST_LENSES)
    cut_ons_nm = serializers.ListField(
        child=FiniteFloatField(),
        min_length=1,
        max_length=MOST_CUT_ONS,
        help_text="The effective cut-ons wanted.",
    )
    bodies = BodyField(
        many=True,
        required=False,
        max_length=MOST_BODIES,
        help_text="Without any: one of 36 × 24 mm that needs a filter at each cut-on.",
    )
    filters = FrontFilterField(
        many=True, required=False, max_length=MOST_PIECES, help_text="Owned: they cost nothing."
    )
    rings = RingField(many=True, required=False, max_length=MOST_PIECES, help_text="Owned; one entry a copy.")
    prices = PricesField(
        required=False, allow_null=True, help_text="Without them the fewest pieces are looked for."
    )
    share_rings = serializers.BooleanField(
        required=False, help_text="One ring serves all lenses of its thread (the usual), or each has its own."
    )
    narrower_by_mm = FiniteFloatField(
        required=False, help_text="How much narrower than a thread a filter or ring may be; 0 unless stated."
    )
    most_rings = serializers.IntegerField(
        required=False, min_value=0, max_value=2, help_text="Stacked on one lens."
    )
    ring_mm = FiniteFloatField(required=False, help_text="Thickness that a ring adds; 4 unless stated.")
    max_alternatives = serializers.IntegerField(
        required=False, min_value=0, max_value=MOST_ALTERNATIVES, help_text="4 unless stated."
    )


class StatementSerializer(serializers.Serializer):
    code = serializers.CharField(help_text="Stable name of the statement.")
    values = serializers.DictField(help_text="The numbers and names that it quotes.")
    says = serializers.CharField(help_text="The statement as a sentence.")


class KitFilterSerializer(serializers.Serializer):
    filter = FrontFilterField()
    owned = serializers.BooleanField()
    price = serializers.CharField(allow_null=True)


class KitRingSerializer(serializers.Serializer):
    ring = RingField()
    owned = serializers.IntegerField(help_text="Copies in use that are owned.")
    to_buy = serializers.IntegerField()
    price = serializers.CharField(allow_null=True)


class UseSerializer(serializers.Serializer):
    """A lens at a cut-on: its filter, and the rings from the lens outwards."""

    lens = serializers.CharField()
    thread_mm = serializers.FloatField()
    cut_on_nm = serializers.FloatField()
    filter = FrontFilterField()
    rings = RingField(many=True)
    stack_mm = serializers.FloatField(help_text="Thickness of the rings.")
    angle_deg = serializers.FloatField(help_text="Diagonal angle of view at the shortest focal length.")
    narrower = serializers.BooleanField(help_text="Something on the way is narrower than the thread.")
    hood_fits = serializers.BooleanField(allow_null=True, help_text="Null for a lens without a hood.")


class KitSerializer(serializers.Serializer):
    """Filters and rings that serve the bag."""

    filters = KitFilterSerializer(many=True)
    rings = KitRingSerializer(many=True)
    uses = UseSerializer(many=True)
    cost = serializers.CharField(allow_null=True, help_text="Of what must be bought; null without prices.")
    filters_to_buy = serializers.IntegerField()
    rings_to_buy = serializers.IntegerField()


class CutOnAnswerSerializer(serializers.Serializer):
    cut_on_nm = serializers.FloatField()
    served_by = serializers.ChoiceField(choices=("filter", "body", "out-of-reach"))


class WithoutThreadSerializer(serializers.Serializer):
    """A lens that takes no filter in front, and what works instead."""

    lens = serializers.CharField()
    reason = StatementSerializer()
    instead = StatementSerializer(many=True)


class KitPlanSerializer(serializers.Serializer):
    """The best kit, proven so, and what goes with it."""

    kit = KitSerializer()
    cut_ons = CutOnAnswerSerializer(many=True)
    why = StatementSerializer(many=True)
    cautions = StatementSerializer(many=True)
    without_thread = WithoutThreadSerializer(many=True)
    unserved = StatementSerializer(
        many=True, help_text="Wanted combinations that no filter can serve, and why."
    )
    alternatives = KitSerializer(
        many=True, help_text="Within a tenth of the cost, or of the number of pieces; best first."
    )
    more_alternatives = serializers.BooleanField()
    currency = serializers.CharField(allow_blank=True)


def bag_from_input(sent: dict[str, Any]) -> Bag:
    """The bag that a checked KitPlanInput describes, without its lenses. Raises InvalidInput for a double price."""
    return Bag(
        cut_ons_nm=tuple(sent["cut_ons_nm"]),
        bodies=tuple(
            BagBody(**{"label": "", "conversion_nm": None} | body) for body in sent.get("bodies", ())
        ),
        filters=tuple(FrontFilter(**one) for one in sent.get("filters", ())),
        rings=tuple(Ring(**one) for one in sent.get("rings", ())),
        prices=_prices(sent["prices"]) if sent.get("prices") else None,
    )


def _prices(sent: dict[str, Any]) -> Prices:
    filters = [(FrontFilter(one["cut_on_nm"], one["diameter_mm"]), one["price"]) for one in sent["filters"]]
    rings = [
        (Ring(one["lens_side_mm"], one["filter_side_mm"]), one["price"]) for one in sent.get("rings", ())
    ]
    _check_once(filters, "prices.filters")
    _check_once(rings, "prices.rings")
    return Prices(dict(filters), sent.get("ring"), dict(rings), sent.get("currency", ""))


def _check_once(priced: Iterable[tuple[Any, Any]], at: str) -> None:
    seen = set()
    for index, (piece, _) in enumerate(priced):
        if piece in seen:
            raise InvalidInput(
                Problem(
                    code="price-twice",
                    field=f"{at}.{index}",
                    says="The same piece has a price already.",
                    remedy="Keep one of the two.",
                )
            )
        seen.add(piece)
