"""Pictures that were flagged and are hidden until a moderator has looked, or for good."""

from __future__ import annotations

from typing import Any

from django.core.files.storage import default_storage
from django.http import FileResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Catalogue, ListQuery
from api.v1.decisions import ReasonInput
from api.v1.flags import FlagSerializer
from api.v1.moderated import act_on, sees_all, sent_as
from api.v1.report_shapes import PersonSerializer
from registry.errors import Conflict, NotFound, Problem
from registry.moderation.models import Flag, FlagOutcome
from registry.moderation.queries.care import hidden_pictures, pictures_flagged
from registry.moderation.services.flags import settle_flags
from registry.reports.models import SampleImage


class HiddenPictureSerializer(serializers.Serializer):
    """A picture, with why it was flagged. What was measured in it goes on counting."""

    id = serializers.CharField(source="public_id")
    report = serializers.CharField(source="report.public_id")
    lens = serializers.SlugField(source="report.lens.slug")
    owner = PersonSerializer()
    hidden = serializers.SerializerMethodField(help_text="False once it is shown again.")
    kept_hidden = serializers.SerializerMethodField(
        help_text="Whether a moderator has looked and kept it so."
    )
    appealed = serializers.SerializerMethodField(help_text="Whether its owner’s appeal waits.")
    flags = FlagSerializer(many=True)

    def get_hidden(self, image: SampleImage) -> bool:
        return bool(image.withheld)

    def get_kept_hidden(self, image: SampleImage) -> bool:
        return any(flag.outcome == FlagOutcome.HIDDEN for flag in image.flags.all())

    def get_appealed(self, image: SampleImage) -> bool:
        return any(appeal.granted is None for appeal in image.appeals.all())


class HiddenPictureQuery(ListQuery):
    kept_hidden = serializers.BooleanField(
        required=False,
        allow_null=True,
        default=None,
        help_text="Only those that a moderator has looked at, or has not.",
    )


class HiddenPictures(Catalogue):
    """Pictures that only their owners and moderators see."""

    queryset = SampleImage.objects.none()
    serializer_class = HiddenPictureSerializer
    queries = {"list": HiddenPictureQuery}
    ordering = ("-id",)
    lookup_field = "public_id"
    lookup_value_regex = r"[0-9a-z]{1,20}"
    what = "hidden picture"
    scopes = dict.fromkeys(("list", "retrieve", "picture", "show", "keep"), "moderate")

    def rows(self) -> Any:
        sees_all(self.request)
        return hidden_pictures()

    def list(self, request: Request) -> Response:
        """Hidden pictures, newest first."""
        rows, kept = self.rows(), self.asked["kept_hidden"]
        if kept is not None:
            looked_at = Flag.objects.filter(outcome=FlagOutcome.HIDDEN, image__isnull=False).values("image")
            rows = rows.filter(pk__in=looked_at) if kept else rows.exclude(pk__in=looked_at)
        return self.paged(rows)

    def retrieve(self, request: Request, public_id: str) -> Response:
        """One hidden picture, with its flags."""
        return tagged(request, HiddenPictureSerializer(self.one(self.rows())).data)

    @extend_schema(
        responses={(200, "image/jpeg"): OpenApiTypes.BINARY},
        examples=[OpenApiExample("A JPEG’s first bytes", value="\u00ff\u00d8", media_type="image/jpeg")],
    )
    @action(detail=True, pagination_class=None)
    def picture(self, request: Request, public_id: str) -> FileResponse:
        """The picture itself, as a JPEG, to look at before deciding."""
        name = self.one(self.rows()).withheld.get("picture", "")
        if not name or not default_storage.exists(name):
            raise NotFound(
                Problem(
                    code="no-such-picture",
                    field="public_id",
                    value=public_id,
                    says=f"The file of picture “{public_id}” is gone.",
                    remedy="Its owner has removed their pictures; settle its flags.",
                )
            )
        headers = {"Cache-Control": "private, no-store", "X-Content-Type-Options": "nosniff"}
        return FileResponse(default_storage.open(name), content_type="image/jpeg", headers=headers)

    @extend_schema(request=ReasonInput, responses=HiddenPictureSerializer)
    @action(detail=True, methods=["post"])
    def show(self, request: Request, public_id: str) -> Response:
        """Show it again: nothing is wrong with it, and no flag hides it any more. Settles its flags."""
        return self._settled(request, FlagOutcome.NOTHING_WRONG)

    @extend_schema(request=ReasonInput, responses=HiddenPictureSerializer)
    @action(detail=True, methods=["post"])
    def keep(self, request: Request, public_id: str) -> Response:
        """Keep it hidden. Settles its flags; its owner can appeal."""
        return self._settled(request, FlagOutcome.HIDDEN)

    def _settled(self, request: Request, outcome: str) -> Response:
        reason = sent_as(ReasonInput, request)["reason"]
        image = self.one(self.rows())
        return act_on(
            request,
            held=Flag.objects.filter(image=image),
            read=lambda: self.one(pictures_flagged()),
            act=lambda row: _settle(row, request, outcome, reason),
            shown=lambda row: HiddenPictureSerializer(row).data,
        )


def _settle(image: SampleImage, request: Request, outcome: str, reason: str) -> None:
    if not image.withheld:
        raise Conflict(
            Problem(
                code="already-shown",
                field="public_id",
                value=image.public_id,
                says=f"Picture “{image.public_id}” is shown again already.",
                remedy="Flag it if it should not be.",
            )
        )
    settle_flags(by=request.user, report=image.report, image=image, outcome=outcome, reason=reason)
