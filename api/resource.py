"""What every resource of the API does alike: known parameters only, pages of a list, one thing with its tag."""

from __future__ import annotations

from functools import cache
from typing import Any

from django.http.response import HttpResponseBase
from django_filters import FilterSet
from rest_framework import serializers, viewsets
from rest_framework.exceptions import MethodNotAllowed
from rest_framework.parsers import BaseParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.paging import PAGE_MEMBERS
from api.strict import StrictSerializer, WordField, did_you_mean, refuse_unknown_parameters
from registry.errors import InvalidInput, NotFound, Problem


class ListQuery(StrictSerializer):
    """Query parameters that every list knows; resources add their filters."""

    cursor = serializers.CharField(required=False, help_text="Where to go on, from a next or previous link.")
    limit = serializers.CharField(required=False, help_text="Rows on a page, 1 to 200; 50 unless stated.")


class NoQuery(StrictSerializer):
    """No query parameter at all."""


class NoBody(StrictSerializer):
    """Nothing is sent but the address."""


class SparseQuery(StrictSerializer):
    """Which members of an answer are wanted."""

    fields_ = serializers.CharField(
        required=False,
        help_text="Names of members parted by commas: the answer, or each item of a list, holds only these.",
    )

    def get_fields(self) -> dict[str, serializers.Field]:
        return {"fields": super().get_fields()["fields_"]}


SPARSE = ("list", "retrieve", "standings")  # actions whose answers can be had with some members only


def take_nothing(request: Request) -> None:
    """For what is asked by its address alone. Raises InvalidInput when a body came with it."""
    NoBody(data=request.data).is_valid(raise_exception=True)


def sparse(answer: Any, wanted: str) -> Any:
    """An answer, or each row of a page, with the wanted members only: names parted by commas.

    Raises InvalidInput for a name that they don't have, with the nearest one.
    """
    rows = answer["items"] if isinstance(answer, dict) and set(answer) == PAGE_MEMBERS else None
    names = [name.strip() for name in wanted.split(",")]
    shown = [
        {name: row[name] for name in names if name in row} for row in ([answer] if rows is None else rows)
    ]
    known = set(answer) if rows is None else {name for row in rows for name in row}
    problems = [
        Problem(
            code="unknown-member",
            field="?fields",
            value=name[:60],
            says=f"“{name[:60]}” is no member of this answer.",
            remedy=did_you_mean(name, known),
        )
        for name in names
        if name not in known and known
    ]
    if problems:
        raise InvalidInput(problems)
    return shown[0] if rows is None else answer | {"items": shown}


class Resource(viewsets.GenericViewSet):
    """Base of the API's views.

    queries: the query parameters of each action, a StrictSerializer. orders: the orders in which the list can be had,
    each the fields that it goes by, the last one unique and none of them null; the first one unless asked otherwise.
    forms: actions that take multipart forms beside JSON.
    """

    queries: dict[str, type[StrictSerializer]] = {}
    orders: dict[str, tuple[str, ...]] = {}
    forms: tuple[str, ...] = ()

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if self.action is None:  # before anything else is said of a request that has no answer here
            raise MethodNotAllowed(request.method)
        given = request.query_params.dict()
        self.wanted = given.pop("fields", None) if self.action in SPARSE else None
        filters = self.filterset_class.base_filters if self._filters_here() else {}
        query = self.query_of(self.action)(
            data={name: value for name, value in given.items() if name not in filters}
        )
        refuse_unknown_parameters(given, {*query.fields, *filters})
        query.is_valid(raise_exception=True)
        self.asked: dict[str, Any] = query.validated_data
        if request.method == "DELETE":
            take_nothing(request)

    @classmethod
    def query_of(cls, action: str) -> type[StrictSerializer]:
        """The query parameters of an action beside its filters."""
        query = cls.queries.get(action, ListQuery if action == "list" else NoQuery)
        return _with_order(query, tuple(cls.orders)) if action == "list" and cls.orders else query

    def get_parsers(self) -> list[BaseParser]:
        """JSON, and forms where an action takes them; others refuse a form rather than guess what it means."""
        # The action is set once the request is there, which takes parsers to make.
        action = (
            getattr(self, "action_map", {}).get(self.request.method.lower()) if self.request else self.action
        )
        return [
            parser
            for parser in super().get_parsers()
            if action in self.forms or not isinstance(parser, MultiPartParser)
        ]

    def finalize_response(
        self, request: Request, response: HttpResponseBase, *args: Any, **kwargs: Any
    ) -> HttpResponseBase:
        """Leave out what wasn't wanted, and tell how much of the asker's limit is left."""
        if getattr(self, "wanted", None) is not None and response.status_code == 200:
            try:
                response.data = sparse(response.data, self.wanted)
            except InvalidInput as error:
                response = self.handle_exception(error)
        response = super().finalize_response(request, response, *args, **kwargs)
        for name, value in getattr(self, "rate_headers", {}).items():
            response.headers[name] = value
        return response

    def filters(self) -> FilterSet:
        """The resource's filters as asked for. Raises InvalidInput with every value that can't be read."""
        filters = self.filterset_class(self.request.query_params.dict(), queryset=self.get_queryset())
        if problems := filters.problems():
            raise InvalidInput(problems)
        return filters

    def _filters_here(self) -> bool:
        return self.action == "list" and getattr(self, "filterset_class", None) is not None

    def paged(self, rows: Any, present: Any = None) -> Response:
        """One page of a queryset, each row through the resource's serializer, or all through present(rows)."""
        if self.orders:
            rows = rows.order_by(*self.orders[self.asked.get("order") or next(iter(self.orders))])
        page = self.paginate_queryset(rows)
        shown = self.get_serializer(page, many=True).data if present is None else present(page)
        return self.get_paginated_response(shown)


@cache
def _with_order(query: type[StrictSerializer], orders: tuple[str, ...]) -> type[StrictSerializer]:
    order = WordField(choices=orders, required=False, help_text=f"{orders[0]} unless stated.")
    return type(query.__name__, (query,), {"order": order, "__doc__": query.__doc__})


class Catalogue(Resource):
    """Something that anyone may list and read, addressed by its slug."""

    lookup_field = "slug"
    lookup_value_regex = r"[-\w]+"
    ordering = ("slug",)
    what = "thing"

    def rows(self) -> Any:
        """What this asker may see. `queryset` names the model, and is empty where rows are one's own."""
        return self.get_queryset()

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.paged(self.rows())

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return tagged(request, self.get_serializer(self.one(self.rows())).data)

    def one(self, rows: Any) -> Any:
        """The row that the address names. Raises NotFound that says what was looked for."""
        value = self.kwargs[self.lookup_field]
        row = rows.filter(**{self.lookup_field: value}).first()
        if row is None:
            raise NotFound(
                Problem(
                    code="not-found",
                    field=self.lookup_field,
                    value=value,
                    says=f"There is no {self.what} “{value}”.",
                    remedy="Look it up in the list first.",
                )
            )
        return row
