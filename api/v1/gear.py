"""What every piece of gear shows, and how its lists are searched."""

from __future__ import annotations

from rest_framework import serializers
from rest_framework.exceptions import ParseError
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.idempotency import answer_once
from api.resource import Catalogue, ListQuery
from api.v1.makers import MakerSerializer
from registry.errors import InvalidInput, Problem
from registry.gear.models import GearStatus
from registry.gear.queries import find_gear


class GearSerializer(serializers.ModelSerializer):
    """`title` is maker and name in one; `status` is “proposed” until a moderator lists it."""

    title = serializers.CharField(source="__str__", read_only=True)
    maker = MakerSerializer(read_only=True)
    status = serializers.ChoiceField(choices=GearStatus.choices, read_only=True)

    COMMON = ["slug", "title", "maker", "name", "status"]


class GearQuery(ListQuery):
    search = serializers.CharField(
        required=False, help_text="Part of a name; typing mistakes are forgiven. Best matches, on one page."
    )
    maker = serializers.SlugField(required=False, help_text="Slug of the maker.")


class GearResource(Catalogue):
    """A kind of gear: listed by maker, searched by name."""

    queries = {"list": GearQuery}
    orders = {"slug": ("slug",), "newest": ("-id",)}

    def filtered(self, rows):
        if maker := self.asked.get("maker"):
            rows = rows.filter(maker__slug=maker)
        if search := self.asked.get("search"):
            rows = rows.filter(pk__in=[item.pk for item in find_gear(self.what, search, limit=50)])
        return rows

    def list(self, request: Request, *args, **kwargs) -> Response:
        return self.paged(self.filtered(self.rows()))


class GearProposals:
    """Proposing gear that the catalogue lacks: it can be reported on at once, and a moderator lists it later.

    propose: the service; proposal_shape: the serializer that shows the result. Which facts may be stated, and
    every rule about them, is the service's.
    """

    propose = None
    proposal_shape = None

    def create(self, request: Request) -> Response:
        """Propose one that the catalogue lacks, maker and mounts by name."""
        return answer_once(request, lambda: self._create(request))

    def _create(self, request: Request) -> Response:
        facts = facts_of(request.data)
        item = self.propose(by=request.user, new_maker=facts.pop("new_maker", False), **facts)
        location = request.build_absolute_uri(f"{request.path}{item.slug}/")
        return tagged(request, self.proposal_shape(item).data, status=201, headers={"Location": location})


def facts_of(sent: object) -> dict:
    """The sent facts; `by` is never one of them: whoever asks, proposes."""
    if not isinstance(sent, dict):
        raise ParseError("Send an object of facts.")
    facts = dict(sent.items())
    refuse = [name for name in facts if name == "by"]
    if refuse or not isinstance(facts.get("new_maker", False), bool):
        field = refuse[0] if refuse else "new_maker"
        raise InvalidInput(
            Problem(
                code="unknown-field" if refuse else "not-a-boolean",
                field=field,
                value=facts[field],
                says=f"“{field}” can't be {facts[field]!r} here.",
                remedy="Leave it out." if refuse else "Send true to add an unknown maker, or leave it out.",
            )
        )
    return facts
