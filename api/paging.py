"""Lists in pages that stay put while rows come and go: a cursor names the row at which a page ends, by everything that
the list is ordered by, and Link headers (RFC 8288) lead on and back."""

from __future__ import annotations

import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet
from rest_framework.pagination import CursorPagination
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param

from registry.errors import InvalidInput, Problem

PAGE_MEMBERS = {"items", "next", "previous"}


@dataclass(frozen=True)
class Mark:
    """The row that a page begins after, or, backwards, ends before: its values of what the list is ordered by."""

    values: tuple[Any, ...]
    backwards: bool = False

    def written(self) -> str:
        told = [_plain(value) for value in self.values]
        return urlsafe_b64encode(json.dumps([int(self.backwards), *told]).encode()).decode().rstrip("=")

    @classmethod
    def read(cls, cursor: str, ordering: Sequence[str]) -> Mark:
        """Raises ValueError for what no list in this order gave out."""
        backwards, *values = json.loads(urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
        if backwards not in (0, 1) or len(values) != len(ordering):
            raise ValueError("a cursor of another list")
        if not all(isinstance(value, str | int | float) and "\0" not in str(value) for value in values):
            raise ValueError("no values of a row")
        return cls(tuple(values), bool(backwards))


class StablePagination(CursorPagination):
    """Rows must be in an order that ends with something unique and holds no null; `ordering` of the view, or by id."""

    page_size = 50
    max_page_size = 200
    page_size_query_param = "limit"
    ordering = ("id",)

    def paginate_queryset(self, queryset: QuerySet, request, view=None) -> list:
        self.base_url = request.build_absolute_uri()
        self.ordering = tuple(queryset.query.order_by or getattr(view, "ordering", None) or self.ordering)
        size, mark = self.get_page_size(request), self._mark(request)
        backwards = mark is not None and mark.backwards
        order = reversed_order(self.ordering) if backwards else self.ordering
        try:
            rows = queryset.order_by(*order)
            found = list((rows.filter(beyond(order, mark.values)) if mark else rows)[: size + 1])
        except (ValueError, TypeError, OverflowError, ValidationError) as error:  # values made up by hand
            raise InvalidInput(unknown_cursor(request)) from error
        self.page, more = found[:size], len(found) > size
        if backwards:
            self.page.reverse()
        self.has_next, self.has_previous = (True, more) if backwards else (more, mark is not None)
        return self.page

    def get_next_link(self) -> str | None:
        return self._link(self.page[-1], backwards=False) if self.has_next and self.page else None

    def get_previous_link(self) -> str | None:
        """Where nothing is left on this page, the way back is the list's end."""
        if not self.has_previous:
            return None
        if self.page:
            return self._link(self.page[0], backwards=True)
        return remove_query_param(self.base_url, self.cursor_query_param)

    def get_page_size(self, request) -> int:
        asked = request.query_params.get(self.page_size_query_param)
        if asked is None:
            return self.page_size
        if not (asked.isascii() and asked.isdigit() and 1 <= int(asked[:9]) <= self.max_page_size):
            raise InvalidInput(
                Problem(
                    code="limit-out-of-range",
                    field=f"?{self.page_size_query_param}",
                    value=asked,
                    says=f"“{asked[:40]}” is no page length between 1 and {self.max_page_size}.",
                    remedy="Leave it out for 50, or follow the next links for more.",
                )
            )
        return int(asked)

    def get_paginated_response(self, data):
        following, preceding = self.get_next_link(), self.get_previous_link()
        links = [
            f'<{address}>; rel="{relation}"'
            for address, relation in ((following, "next"), (preceding, "prev"))
            if address
        ]
        headers = {"Link": ", ".join(links)} if links else {}
        return Response({"items": data, "next": following, "previous": preceding}, headers=headers)

    def get_paginated_response_schema(self, schema):
        address = {"type": ["string", "null"], "format": "uri", "example": None}
        return {
            "type": "object",
            "required": ["items", "next", "previous"],
            "properties": {
                "items": schema,
                "next": address | {"description": "Address of the next page, null on the last."},
                "previous": address | {"description": "Address of the page before, null on the first."},
            },
        }

    def _mark(self, request) -> Mark | None:
        cursor = request.query_params.get(self.cursor_query_param)
        if cursor is None:
            return None
        try:
            return Mark.read(cursor, self.ordering)
        except (ValueError, TypeError, RecursionError) as error:
            raise InvalidInput(unknown_cursor(request)) from error

    def _link(self, row: Any, *, backwards: bool) -> str:
        mark = Mark(tuple(_value(row, name.lstrip("-")) for name in self.ordering), backwards)
        return replace_query_param(self.base_url, self.cursor_query_param, mark.written())


def beyond(order: Sequence[str], values: Sequence[Any]) -> Q:
    """Rows after the one with these values: later by the first name, or equal there and later by the rest.

    The first comparison is said by itself too, so that the database can begin within an index.
    """
    (first, *others), (value, *rest) = order, values
    name, later = first.lstrip("-"), "lt" if first.startswith("-") else "gt"
    if not others:
        return Q(**{f"{name}__{later}": value})
    either = Q(**{f"{name}__{later}": value}) | beyond(others, rest)
    return Q(**{f"{name}__{later}e": value}) & either


def reversed_order(order: Sequence[str]) -> tuple[str, ...]:
    return tuple(name[1:] if name.startswith("-") else f"-{name}" for name in order)


def _value(row: Any, path: str) -> Any:
    for name in path.split("__"):
        row = getattr(row, name)
    return row


def _plain(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value


def unknown_cursor(request) -> Problem:
    return Problem(
        code="cursor-unknown",
        field="?cursor",
        value=request.query_params.get("cursor", "")[:100],
        says="The cursor is not one that this list gave out.",
        remedy="Begin without a cursor and follow the next links.",
    )
