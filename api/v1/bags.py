"""Your own bag, as its page keeps it."""

from __future__ import annotations

from typing import Any

from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Catalogue
from api.v1.kit_shapes import BagSerializer
from registry.bags.models import KeptBag
from registry.bags.queries import bag_from
from registry.bags.stored import written


def present(kept: KeptBag) -> dict[str, Any]:
    return {"id": kept.public_id, **written(bag_from(kept)), "updated_at": kept.updated_at}


class Bags(Catalogue):
    """Your own bag: the list holds it once you have packed one."""

    queryset = KeptBag.objects.none()
    serializer_class = BagSerializer
    lookup_field = "public_id"
    ordering = ("id",)
    signed_in = True
    what = "bag of yours"

    def rows(self) -> Any:
        return KeptBag.objects.filter(owner=self.request.user).order_by("id")

    def list(self, request: Request) -> Response:
        """Your own bag, if you have packed one. Nobody else sees it."""
        return self.paged(self.rows(), lambda page: [BagSerializer(present(kept)).data for kept in page])

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Read your own bag. It can be sent to kit-plans, without id, updated_at and use."""
        return tagged(request, BagSerializer(present(self.one(self.rows()))).data)
