"""Kit plans: which filters and step-up rings serve some lenses at some cut-ons."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.resource import Resource
from api.v1.kit_shapes import KitPlanInput, KitPlanSerializer, bag_from_input
from registry.bags.contents import Carried, checked
from registry.bags.planning import MOST_ALTERNATIVES, Wishes, as_bag_lens, plan_lenses
from registry.errors import InvalidInput, Problem
from registry.gear.models import FilterSeat, GearKind, Projection
from registry.gear.queries import gear_by_slug
from registry.kits.bag import BagLens

WISHES = ("share_rings", "narrower_by_mm", "most_rings", "ring_mm")
FACTS = ("name", "filter_thread_mm", "focal_min_mm", "filter_seat", "projection")


class KitPlans(Resource):
    """Which filters and step-up rings serve some lenses; nothing is stored."""

    serializer_class = KitPlanSerializer
    pagination_class = None
    scopes = {"POST": "read"}
    what = "kit plan"

    @extend_schema(
        operation_id="kit_plans_plan",
        request=KitPlanInput,
        responses={200: KitPlanSerializer},
    )
    def plan(self, request: Request) -> Response:
        """Plan a kit, proven the best. Needs no account, and stores nothing."""
        sent = KitPlanInput(data=request.data)
        sent.is_valid(raise_exception=True)
        asked = sent.validated_data
        bag = checked(bag_from_input(asked))
        lenses = [_lens(one, f"lenses.{index}") for index, one in enumerate(asked["lenses"])]
        wishes = Wishes(**{name: asked[name] for name in WISHES if name in asked})
        most = asked.get("max_alternatives", MOST_ALTERNATIVES)
        plan = plan_lenses(bag, lenses, bag.need(bag.cut_ons_nm[0]), wishes, max_alternatives=most)
        return Response(plan.to_dict())


def _lens(sent: dict[str, Any], at: str) -> BagLens:
    """A lens of the catalogue, or one told by its facts; never a mixture of both."""
    facts = {name: sent[name] for name in FACTS if name in sent}
    own = tuple(sent["cut_ons_nm"]) if "cut_ons_nm" in sent else None
    if slug := sent.get("lens"):
        if facts:
            raise InvalidInput(_contradiction(at, next(iter(facts))))
        known = as_bag_lens(
            gear_by_slug(GearKind.LENS, slug, field=f"{at}.lens"), Carried(slug, hood=sent["hood"])
        )
        return BagLens(**vars(known) | {"cut_ons_nm": own})
    missing = [name for name in ("name", "focal_min_mm") if name not in facts]
    if missing:
        raise InvalidInput(_missing(at, missing))
    usual = {"filter_thread_mm": None, "filter_seat": FilterSeat.FRONT_THREAD.value}
    usual |= {"projection": Projection.RECTILINEAR.value}
    return BagLens(**usual | facts, hood=sent["hood"], cut_ons_nm=own)


def _contradiction(at: str, name: str) -> Problem:
    return Problem(
        code="lens-told-twice",
        field=f"{at}.{name}",
        says="The lens is named by its slug and by facts of its own.",
        remedy="Give the slug alone, or the facts without it.",
    )


def _missing(at: str, names: list[str]) -> list[Problem]:
    return [
        Problem(
            code="required",
            field=f"{at}.{name}",
            says=f"A lens without a slug needs its {name}.",
            remedy="Add it, or give the slug of a lens of the catalogue as “lens”.",
        )
        for name in names
    ]
