"""Reports: filed whole, read back, changed, submitted, withdrawn, and set aside by moderators."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any

from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.exceptions import ParseError
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import require_match, tagged
from api.idempotency import answer_once
from api.problems import HttpProblem
from api.resource import Catalogue, ListQuery
from api.strict import StrictSerializer, WordField
from api.v1.images import FrameInput, sent_files
from api.v1.report_inputs import ReportInput, ReportRevisionInput, ReportWithFrames
from api.v1.report_shapes import ImageSerializer, ReplySerializer, ReportRowSerializer, ReportSerializer
from registry.errors import InvalidInput, Problem
from registry.reports import services
from registry.reports.models import Basis, Report, ReportState
from registry.reports.queries import report_for, reports_with_parts, visible_reports
from registry.reports.rules.replies import LONGEST_REPLY
from registry.reports.services.filing import take_submit
from registry.reports.services.replies import reply_on_report

PARTS = (
    "sweeps__readings__image",
    "claims",
    "findings",
    "images__measurements",
    "revisions__by",
    "replies__by",
)


class ReportQuery(ListQuery):
    lens = serializers.SlugField(required=False, help_text="Slug of a lens.")
    state = WordField(choices=ReportState.choices, required=False, help_text="Drafts are your own only.")
    basis = WordField(choices=Basis.choices, required=False)
    author = serializers.CharField(required=False, max_length=10, help_text="Id of an account, or “me”.")


class Reason(StrictSerializer):
    reason = serializers.CharField(max_length=2000, help_text="Shown with the report.")


class ReplyInput(StrictSerializer):
    says = serializers.CharField(max_length=LONGEST_REPLY)


class SubmitInput(StrictSerializer):
    when_measured = serializers.BooleanField(
        default=False, help_text="Where frames are still being measured, submit it once they are."
    )


class Reports(Catalogue):
    """Tests of lenses by contributors, and results that they relay."""

    queryset = Report.objects.none()
    serializer_class = ReportSerializer
    queries = {"list": ReportQuery}
    forms = ("create", "frames")
    orders = {"newest": ("-id",), "oldest": ("id",)}
    lookup_field = "public_id"
    lookup_value_regex = r"[0-9a-z]{1,20}"
    what = "report"

    def rows(self):
        return visible_reports(self.request.user)

    @extend_schema(responses=ReportRowSerializer(many=True))
    def list(self, request: Request) -> Response:
        """Public reports and your own drafts, newest first."""
        rows = self.rows()
        if lens := self.asked.get("lens"):
            rows = rows.filter(lens__slug=lens)
        if author := self.asked.get("author"):
            whose = {"author": request.user.pk} if author == "me" else {"author__public_id": author}
            rows = rows.filter(**whose)
        same = {name: self.asked[name] for name in ("state", "basis") if name in self.asked}
        return self.paged(rows.filter(**same), lambda page: ReportRowSerializer(page, many=True).data)

    def retrieve(self, request: Request, public_id: str) -> Response:
        """One report whole. A withdrawn one is answered with 410 and its reason."""
        report = report_for(public_id, request.user)
        if report.state == ReportState.WITHDRAWN and report.author_id != request.user.pk:
            raise _withdrawn(report)
        return tagged(request, self._shown(report))

    @extend_schema(
        request={"application/json": ReportInput, "multipart/form-data": ReportWithFrames},
        responses={201: ReportSerializer},
    )
    def create(self, request: Request) -> Response:
        """File a report: JSON with readings, claims or uploaded images, or multipart with its frames."""
        return answer_once(request, lambda: self._file(request))

    @extend_schema(request=ReportRevisionInput)
    def partial_update(self, request: Request, public_id: str) -> Response:
        """Change a draft, or revise a submitted report with a reason; what it said before is kept."""
        changes = _object(request.data)

        def act(report: Report) -> None:
            if report.state == ReportState.DRAFT:
                services.rewrite_draft(report=report, by=request.user, changes=changes)
            else:
                reason = changes.pop("reason", "")
                services.revise_report(report=report, by=request.user, reason=reason, changes=changes)

        return self._changed(request, public_id, act, must_match=True)

    def destroy(self, request: Request, public_id: str) -> Response:
        """Discard a draft. A submitted report is withdrawn instead, which leaves a note that it was there."""
        with transaction.atomic():
            report = self._held(request, public_id, must_match=True)
            services.discard_draft(report=report, by=request.user)
        return Response(status=204)

    @extend_schema(request=SubmitInput, responses=ReportSerializer)
    @action(detail=True, methods=["post"])
    def submit(self, request: Request, public_id: str) -> Response:
        """Submit a draft: it counts at once."""
        sent = SubmitInput(data=request.data)
        sent.is_valid(raise_exception=True)
        wait = sent.validated_data["when_measured"]
        return self._changed(
            request,
            public_id,
            lambda report: services.submit_report(report=report, by=request.user, submit_when_measured=wait),
        )

    @extend_schema(request=Reason, responses=ReportSerializer)
    @action(detail=True, methods=["post"])
    def withdraw(self, request: Request, public_id: str) -> Response:
        """Take your report out for good, with a reason."""
        return self._with_reason(request, public_id, services.withdraw_report)

    @extend_schema(
        request=ReplyInput,
        responses={201: ReplySerializer},
    )
    @action(detail=True, methods=["post"])
    def replies(self, request: Request, public_id: str) -> Response:
        """Answer on your report, or as a moderator on any; it is public and stays as it was said."""
        sent = ReplyInput(data=request.data)
        sent.is_valid(raise_exception=True)

        def act() -> Response:
            report = report_for(public_id, request.user)
            reply = reply_on_report(report=report, by=request.user, **sent.validated_data)
            return Response(ReplySerializer(reply).data, status=201)

        return answer_once(request, act)

    @extend_schema(request={"multipart/form-data": FrameInput}, responses={201: ImageSerializer})
    @action(detail=True, methods=["post"])
    def frames(self, request: Request, public_id: str) -> Response:
        """Add a frame to your draft; the same file again gives the frame that is there."""

        def act() -> Response:
            report = report_for(public_id, request.user)
            file, purpose = FrameInput.taken_from(request)
            image = services.add_frame(report=report, by=request.user, file=file, purpose=purpose)
            location = request.build_absolute_uri(self.reverse_action("list")).replace(
                "/reports/", "/images/"
            )
            shown = ImageSerializer(image, context={"request": request}).data
            return Response(shown, status=201, headers={"Location": f"{location}{image.public_id}/"})

        return answer_once(request, act)

    def _file(self, request: Request) -> Response:
        data, files = _sent_report(request)
        submit = take_submit(data)
        report = services.file_report(author=request.user, data=data, submit=submit, files=files)
        location = request.build_absolute_uri(f"{request.path}{report.public_id}/")
        return tagged(request, self._shown(report), status=201, headers={"Location": location})

    def _with_reason(self, request: Request, public_id: str, service: Callable[..., Report]) -> Response:
        sent = Reason(data=request.data)
        sent.is_valid(raise_exception=True)
        reason = sent.validated_data["reason"]
        return self._changed(
            request, public_id, lambda report: service(report=report, by=request.user, reason=reason)
        )

    def _changed(
        self, request: Request, public_id: str, act: Callable[[Report], Any], *, must_match: bool = False
    ) -> Response:
        with transaction.atomic():
            report = self._held(request, public_id, must_match=must_match)
            act(report)
            return tagged(request, self._shown(report))

    def _held(self, request: Request, public_id: str, *, must_match: bool) -> Report:
        """The report, locked for this transaction, once it is what the asker saw."""
        report = report_for(public_id, request.user)
        Report.objects.select_for_update(no_key=True).get(pk=report.pk)
        report.refresh_from_db()
        if must_match or "If-Match" in request.headers:
            require_match(request, self._shown(report))
        return report

    def _shown(self, report: Report) -> dict[str, Any]:
        whole = reports_with_parts().prefetch_related(*PARTS).get(pk=report.pk)
        return ReportSerializer(whole, context={"request": self.request}).data


def _sent_report(request: Request) -> tuple[dict[str, Any], dict]:
    """The report's data and its frames by name, from JSON or from the multipart form."""
    files = sent_files(request, "frames")
    if not request.content_type.startswith("multipart/"):
        return _object(request.data), files
    unknown = [name for name in request.data if name not in ("report", "frames")]
    if unknown or "report" not in request.data:
        raise InvalidInput(
            Problem(
                code="unknown-part" if unknown else "report-part-missing",
                field=unknown[0] if unknown else "report",
                says=f"The form has a part “{unknown[0]}”." if unknown else "The form has no part “report”.",
                remedy="Send one part “report” with JSON, and the files as parts “frames”.",
            )
        )
    part = request.data["report"]
    try:
        return _object(json.loads(part if isinstance(part, str) else part.read())), files
    except (ValueError, RecursionError) as error:
        raise ParseError(f"The part “report” is no JSON: {error}") from error


def _object(sent: Any) -> dict[str, Any]:
    if not isinstance(sent, Mapping):
        raise ParseError("Send a JSON object with the report's fields.")
    return dict(sent)


def _withdrawn(report: Report) -> HttpProblem:
    return HttpProblem(
        410,
        Problem(
            code="report-withdrawn",
            value=report.public_id,
            says=f"Report {report.public_id} was withdrawn by its author: {report.state_reason}",
            remedy="It no longer counts, and its address is not used again.",
        ),
    )
