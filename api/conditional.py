"""Conditional requests (RFC 9110, RFC 6585): nothing is sent twice, and nobody overwrites what they haven't seen."""

from __future__ import annotations

import hashlib

from django.utils.http import parse_etags
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.problems import HttpProblem
from registry.errors import Problem


def etag_of(body: object) -> str:
    """Strong entity tag of a representation, quoted."""
    return f'"{hashlib.sha256(JSONRenderer().render(body)).hexdigest()[:32]}"'


def tagged(request: Request, body: object, *, status: int = 200, headers: dict | None = None) -> Response:
    """The answer that carries a representation: with its tag, or 304 if the asker holds it already."""
    tag = etag_of(body)
    headers = (headers or {}) | {"ETag": tag, "Cache-Control": "no-cache"}
    if request.method in ("GET", "HEAD") and holds(request.headers.get("If-None-Match"), tag):
        return Response(status=304, headers=headers)
    return Response(body, status=status, headers=headers)


def require_match(request: Request, body: object) -> None:
    """Refuse a change by someone who hasn't seen the present representation. Call it with the row locked.

    Raises HttpProblem: 428 without If-Match, 412 when it names another representation.
    """
    given = request.headers.get("If-Match")
    if given is None:
        raise HttpProblem(
            428,
            Problem(
                code="if-match-missing",
                says="A change needs an If-Match header.",
                remedy="Send the ETag that reading this address gave you.",
            ),
        )
    tag = etag_of(body)
    if given.strip() != "*" and tag not in parse_etags(given):
        raise HttpProblem(
            412,
            Problem(
                code="changed-meanwhile",
                value=given[:200],
                says="This was changed after you read it.",
                remedy="Read it again, see what changed, and send your change with its new ETag.",
            ),
            headers={"ETag": tag},
        )


def holds(given: str | None, tag: str) -> bool:
    """If-None-Match compares weakly (RFC 9110, 13.1.2)."""
    if given is None:
        return False
    held = {held.removeprefix("W/") for held in parse_etags(given)}
    return "*" in held or tag in held
