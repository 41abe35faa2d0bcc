"""Many reports in one request, a line each; what became of each is told a line each."""

from __future__ import annotations

import logging
import tempfile
from collections.abc import Iterator
from itertools import islice
from typing import Any

from django.http import StreamingHttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.request import Request

from api.ndjson import (
    MEDIA_TYPE,
    JsonLine,
    LinesParser,
    LinesRenderer,
    LinesWhateverIsAccepted,
    line,
    lines_of,
)
from api.problems import TYPE_BASE, document, status_of
from api.resource import Resource
from api.v1.report_inputs import ReportInput
from registry.accounts.models import Account
from registry.errors import CleanstopError, InvalidInput, Problem, TooLarge
from registry.reports.models import Report
from registry.reports.services.batch import FILED, LONGEST_KEY, REFUSED, Line, Outcome, ReportBatch

log = logging.getLogger(__name__)

LINES_AT_ONCE = 2000  # written in one transaction
MOST_LINES = 100_000
# Many clients read no answer before they have sent everything. What fits into the buffers between us goes out as it
# is known; the rest waits on disk until their body has come in.
SENT_AHEAD = 32 * 1024
WAITING_IN_MEMORY = 1024 * 1024


class BatchLine(ReportInput):
    """A report as it is filed by itself, with a key."""

    key = serializers.CharField(
        required=False,
        max_length=LONGEST_KEY,
        help_text="Your own name for this report. Sent again under the same key it is not filed again. Without one, "
        "what the line says is its name.",
    )


class BatchProblem(serializers.Serializer):
    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    errors = serializers.ListField(child=serializers.DictField(), required=False)


class BatchOutcome(serializers.Serializer):
    """What became of one line."""

    line = serializers.IntegerField(help_text="Its number in the body, from 1.")
    key = serializers.CharField(allow_null=True)
    status = serializers.IntegerField(
        help_text="201 filed, 200 here already, 413 or 422 refused, 403 not allowed, 500 a fault of the registry's."
    )
    report = serializers.CharField(allow_null=True, help_text="Id of the report.")
    problem = BatchProblem(required=False, help_text="Why it was refused, with a pointer to each bad field.")


OUTCOME = OpenApiExample(
    "A filed line, and a refused one",
    response_only=True,
    media_type=MEDIA_TYPE,
    value={"line": 1, "key": "marram-1", "status": 201, "report": "7k2m9x4q1b"},
)


class ReportBatches(Resource):
    """Reports by the thousand."""

    queryset = Report.objects.none()
    serializer_class = BatchOutcome
    parser_classes = [LinesParser]
    renderer_classes = [LinesRenderer]
    content_negotiation_class = LinesWhateverIsAccepted
    what = "batch"

    @extend_schema(
        request={MEDIA_TYPE: BatchLine}, responses={(200, MEDIA_TYPE): BatchOutcome}, examples=[OUTCOME]
    )
    def file(self, request: Request) -> HttpResponseBase:
        """File many reports, one JSON object a line. Each is checked and filed, or refused, by itself; send the same
        lines again after a break, and none is filed twice."""
        outcomes = _outcomes(request.user, lines_of(request))
        return StreamingHttpResponse(_without_jam(outcomes), content_type=MEDIA_TYPE)


def _outcomes(author: Account, lines: Iterator[JsonLine]) -> Iterator[bytes]:
    """Told lot by lot, each once its transaction holds."""
    batch, counted = ReportBatch(author=author), 0
    while lot := list(islice(lines, LINES_AT_ONCE)):
        counted += len(lot)
        if counted > MOST_LINES:
            yield line(_told(lot[0].number, None, Outcome(REFUSED, error=_too_many())))
            return
        try:
            told = list(_filed(batch, lot))
        except Exception:  # the answer has begun, so that no error page can follow
            log.exception("Filing lines %d to %d failed", lot[0].number, lot[-1].number)
            yield line(_fault(lot[0].number))
            return
        yield from map(line, told)


def _filed(batch: ReportBatch, lot: list[JsonLine]) -> Iterator[dict[str, Any]]:
    read = [_report_in(entry) for entry in lot]
    done = iter(batch.file([found for found in read if isinstance(found, Line)]))
    for entry, found in zip(lot, read, strict=True):
        outcome = next(done) if isinstance(found, Line) else Outcome(REFUSED, error=found)
        yield _told(entry.number, (found.key or None) if isinstance(found, Line) else None, outcome)


def _report_in(entry: JsonLine) -> Line | CleanstopError:
    if entry.error:
        return entry.error
    if not isinstance(entry.content, dict):
        return InvalidInput(
            Problem(
                code="not-an-object",
                says="The line is no JSON object.",
                remedy="Write the report's fields in curly brackets, on one line.",
            )
        )
    data = dict(entry.content)
    key = data.pop("key", "")
    if isinstance(key, str) and len(key) <= LONGEST_KEY and (key.isprintable() or not key):
        return Line(key, data)
    return InvalidInput(
        Problem(
            code="line-key-unusable",
            field="key",
            value=str(key)[:100],
            says=f"The key is no text of 1 to {LONGEST_KEY} printable characters.",
            remedy="Name the report as you do in your own records, or leave the key out.",
        )
    )


def _told(number: int, key: str | None, outcome: Outcome) -> dict[str, Any]:
    told = {"line": number, "key": key, "report": outcome.report_id or None}
    if outcome.error is None:
        return told | {"status": 201 if outcome.state == FILED else 200}
    status = status_of(outcome.error)
    return told | {"status": status, "problem": document(status, outcome.error.problems)}


def _fault(number: int) -> dict[str, Any]:
    says = f"The registry failed at the lines from {number} on; none of them was filed."
    remedy = "Send the same lines again: those that were filed before are not filed twice."
    problem = {"type": f"{TYPE_BASE}internal", "title": says, "status": 500, "detail": f"{says} {remedy}"}
    return {"line": number, "key": None, "report": None, "status": 500, "problem": problem}


def _too_many() -> TooLarge:
    return TooLarge(
        Problem(
            code="too-many-lines",
            says=f"One request holds at most {MOST_LINES:,} lines; from here on none was filed.",
            remedy="Send the rest in another request.",
        )
    )


def _without_jam(chunks: Iterator[bytes]) -> Iterator[bytes]:
    ahead = 0
    with tempfile.SpooledTemporaryFile(max_size=WAITING_IN_MEMORY) as waiting:
        for chunk in chunks:
            if ahead + len(chunk) <= SENT_AHEAD:
                ahead += len(chunk)
                yield chunk
            else:
                ahead = SENT_AHEAD
                waiting.write(chunk)
        waiting.seek(0)
        while chunk := waiting.read(64 * 1024):
            yield chunk
