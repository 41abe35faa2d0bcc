"""Pages of a list that is worked out anew for every request, such as what waits on the desk."""

from __future__ import annotations

import hashlib
import json
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Sequence
from typing import Any

from rest_framework.request import Request
from rest_framework.utils.urls import remove_query_param, replace_query_param

from api.paging import StablePagination, unknown_cursor
from registry.errors import InvalidInput

LONGEST_CURSOR = 200


class ComputedPages(StablePagination):
    """Views have `key_of(row)`. A page begins at the row that its cursor names. Where that row is gone, it begins
    early enough that rows may show twice, but none is left out."""

    def paginate_queryset(self, rows: Sequence[Any], request: Request, view: Any = None) -> list[Any]:
        self.base_url = request.build_absolute_uri()
        self.size = self.get_page_size(request)
        self.keys = [_short(view.key_of(row)) for row in rows]
        self.start = self._start(request)
        return list(rows[self.start : self.start + self.size])

    def get_next_link(self) -> str | None:
        following = self.start + self.size
        return self._link(following) if following < len(self.keys) else None

    def get_previous_link(self) -> str | None:
        if self.start == 0:
            return None
        before = max(0, self.start - self.size)
        return self._link(before) if before else remove_query_param(self.base_url, self.cursor_query_param)

    def _start(self, request: Request) -> int:
        cursor = request.query_params.get(self.cursor_query_param)
        if cursor is None:
            return 0
        try:
            position, key = json.loads(urlsafe_b64decode(cursor[:LONGEST_CURSOR]))
            if self.keys[position : position + 1] == [key]:
                return position
            if key in self.keys:
                return self.keys.index(key)
            return min(max(0, position - self.size), len(self.keys))
        except (ValueError, TypeError, RecursionError) as error:
            raise InvalidInput(unknown_cursor(request)) from error

    def _link(self, position: int) -> str:
        written = json.dumps([position, self.keys[position]]).encode()
        return replace_query_param(
            self.base_url, self.cursor_query_param, urlsafe_b64encode(written).decode()
        )


def _short(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()[:16]
