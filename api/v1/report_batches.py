"""Many reports in one request, a line each; what became of each is told a line each."""

from __future__ import annotations

import logging
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
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
from registry.reports.services.batch import FILED, LONGEST_KEY, REFUSED, Line, Outcome, Read, ReportBatch

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
    with _Ahead(partial(_read, batch, lines)) as lots:
        while lot := lots.take():
            counted += len(lot)
            first, last = lot[0].number, lot[-1].number
            if counted > MOST_LINES:
                yield line(_told(first, None, Outcome(REFUSED, error=_too_many())))
                return
            try:
                told = list(_filed(batch, lot, lots.begin))
            except Exception:  # the answer has begun, so that no error page can follow
                log.exception("Filing lines %d to %d failed", first, last)
                yield line(_fault(first))
                return
            yield from map(line, told)


class _Ahead(ThreadPoolExecutor):
    """Reads the next lot when it is taken, or before, once it is told to begin. Only one is ever read at a time."""

    def __init__(self, read: Callable[[], list[_Entry]]):
        super().__init__(max_workers=1)
        self.read = read
        self.begun: Future[list[_Entry]] | None = None

    def begin(self) -> None:
        self.begun = self.submit(self.read)

    def take(self) -> list[_Entry]:
        begun, self.begun = self.begun, None
        return begun.result() if begun else self.read()


@dataclass(frozen=True)
class _Entry:
    """One line of the body: the report that it holds, or why it holds none."""

    number: int
    report: Read | None = None
    error: CleanstopError | None = None


def _read(batch: ReportBatch, lines: Iterator[JsonLine]) -> list[_Entry]:
    lot = [(entry.number, _report_in(entry)) for entry in islice(lines, LINES_AT_ONCE)]
    read = iter(batch.read([found for _, found in lot if isinstance(found, Line)]))
    return [
        _Entry(number, report=next(read)) if isinstance(found, Line) else _Entry(number, error=found)
        for number, found in lot
    ]


def _filed(
    batch: ReportBatch, lot: list[_Entry], meanwhile: Callable[[], object]
) -> Iterator[dict[str, Any]]:
    done = iter(batch.file([entry.report for entry in lot if entry.report], meanwhile))
    for entry in lot:
        outcome = next(done) if entry.report else Outcome(REFUSED, error=entry.error)
        key = entry.report.line.key if entry.report else ""
        yield _told(entry.number, key or None, outcome)


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
