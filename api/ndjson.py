"""Newline-delimited JSON, read line by line as it arrives, and written line by line."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

import orjson
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.parsers import BaseParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from registry.errors import CleanstopError, InvalidInput, Problem, TooLarge

MEDIA_TYPE = "application/x-ndjson"
LONGEST_LINE = 256 * 1024


@dataclass(frozen=True)
class JsonLine:
    """One line that wasn't empty, by its number from 1: what it holds, or why it can't be read."""

    number: int
    content: Any = None
    error: CleanstopError | None = None


class LinesParser(BaseParser):
    """Names the media type for the reference; lines are read by `lines_of`, never whole."""

    media_type = MEDIA_TYPE

    def parse(self, stream, media_type=None, parser_context=None):
        return stream


class LinesRenderer(JSONRenderer):
    """For whoever accepts lines only; a refusal of the whole request is a problem document all the same."""

    media_type = MEDIA_TYPE
    format = "ndjson"


class LinesWhateverIsAccepted(DefaultContentNegotiation):
    """The answer is lines, so a client that accepts only JSON is not turned away."""

    def select_renderer(self, request, renderers, format_suffix=None):
        return renderers[0], renderers[0].media_type


def lines_of(request: Request) -> Iterator[JsonLine]:
    """The lines of a request's body, read as they are asked for. Raises UnsupportedMediaType for other bodies."""
    given = request.content_type.partition(";")[0].strip().lower()
    if given != MEDIA_TYPE:
        raise UnsupportedMediaType(given, f"Send the lines as {MEDIA_TYPE}.")
    return _read(_body(request))


def line(content: dict[str, Any]) -> bytes:
    """A line of an answer. Text that UTF-8 can't hold, such as half a surrogate pair, is written as it was escaped."""
    return _ENCODER.encode(content).encode() + b"\n"


_ENCODER = json.JSONEncoder(separators=(",", ":"))


def _body(request: Request) -> BinaryIO:
    """A body that is sent in chunks has no length, and is then the server's own to end."""
    underlying = request._request
    chunked = "chunked" in underlying.META.get("HTTP_TRANSFER_ENCODING", "").lower()
    return underlying.META["wsgi.input"] if chunked else underlying


def _read(body: BinaryIO) -> Iterator[JsonLine]:
    number = 0
    while raw := body.readline(LONGEST_LINE + 1):
        number += 1
        if len(raw) > LONGEST_LINE:
            _skip_line(body, raw)
            yield JsonLine(number, error=_too_long())
        elif raw.strip():
            yield _parsed(number, raw)


def _skip_line(body: BinaryIO, raw: bytes) -> None:
    while raw and not raw.endswith(b"\n"):
        raw = body.readline(LONGEST_LINE)


def _parsed(number: int, raw: bytes) -> JsonLine:
    try:
        return JsonLine(number, orjson.loads(raw))
    except orjson.JSONDecodeError as error:
        return JsonLine(number, error=_no_json(error))


def _too_long() -> TooLarge:
    return TooLarge(
        Problem(
            code="line-too-long",
            says=f"The line is longer than {LONGEST_LINE // 1024} kB.",
            remedy="Send this report by itself.",
        )
    )


def _no_json(error: Exception) -> InvalidInput:
    return InvalidInput(
        Problem(
            code="malformed-line",
            says=f"The line is no JSON: {error}.",
            remedy="Write each report as one JSON object on one line.",
        )
    )
