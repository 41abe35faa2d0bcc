"""Lists in pages that stay put while rows are added: a cursor over a unique key, and Link headers (RFC 8288)."""

from __future__ import annotations

from django.core.exceptions import ValidationError
from rest_framework.exceptions import NotFound
from rest_framework.pagination import CursorPagination
from rest_framework.response import Response

from registry.errors import InvalidInput, Problem

PAGE_MEMBERS = {"items", "next", "previous"}


class StablePagination(CursorPagination):
    """Views set `ordering` to one unique field (or end with one), so that no row shows twice or never."""

    page_size = 50
    max_page_size = 200
    page_size_query_param = "limit"
    offset_cutoff = (
        100_000  # lists may be ordered by something that thousands of lenses share, such as "untested"
    )
    ordering = ("id",)

    def paginate_queryset(self, queryset, request, view=None):
        try:
            return super().paginate_queryset(queryset, request, view)
        except (ValueError, OverflowError, ValidationError) as error:  # a cursor made up by hand
            raise InvalidInput(_bad_cursor(request)) from error

    def get_ordering(self, request, queryset, view):
        if queryset.query.order_by:
            return tuple(queryset.query.order_by)
        return tuple(getattr(view, "ordering", None) or self.ordering)

    def decode_cursor(self, request):
        try:
            return super().decode_cursor(request)
        except NotFound as error:
            raise InvalidInput(_bad_cursor(request)) from error

    def get_page_size(self, request):
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


def _bad_cursor(request) -> Problem:
    return Problem(
        code="cursor-unknown",
        field="?cursor",
        value=request.query_params.get("cursor", "")[:100],
        says="The cursor is not one that this list gave out.",
        remedy="Begin without a cursor and follow the next links.",
    )
