"""The lenses that you watch, and what you were told."""

from __future__ import annotations

from django.db import transaction
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import require_match, tagged
from api.idempotency import answer_once
from api.resource import ListQuery, Resource
from api.strict import StrictSerializer
from registry.gear.models import GearKind
from registry.gear.queries import gear_by_slug
from registry.watching.models import Notice, Watch, Why
from registry.watching.queries import notices_of, notices_told, watch_of, watches_of
from registry.watching.services import mark_read, unwatch_lens, watch_lens


class WatchSerializer(serializers.ModelSerializer):
    lens = serializers.SlugRelatedField("slug", read_only=True)
    title = serializers.CharField(source="lens.__str__", read_only=True)

    class Meta:
        model = Watch
        fields = ["lens", "title", "since"]
        read_only_fields = fields


class WatchInput(StrictSerializer):
    lens = serializers.SlugField(help_text="Slug of the lens.")


class NoticeSerializer(serializers.Serializer):
    id = serializers.IntegerField(source="notice.pk")
    event = serializers.IntegerField(source="notice.event_id", help_text="Its number in the event log.")
    at = serializers.DateTimeField(source="notice.event.at")
    why = serializers.ChoiceField(source="notice.why", choices=Why.choices)
    title = serializers.CharField()
    reason = serializers.CharField(allow_blank=True)
    lens = serializers.SlugField(source="lens.slug", allow_null=True, default=None)
    report = serializers.CharField(source="report.public_id", allow_null=True, default=None)
    read_at = serializers.DateTimeField(source="notice.read_at", allow_null=True)


class Watches(Resource):
    """Lenses that you watch: a notice tells you when a verdict changes."""

    signed_in = True
    queryset = Watch.objects.none()
    serializer_class = WatchSerializer
    orders = {"oldest": ("id",), "newest": ("-id",)}
    lookup_field = "lens"
    lookup_value_regex = r"[-\w]+"
    what = "watch of yours"

    def list(self, request: Request) -> Response:
        """The lenses that you watch."""
        return self.paged(watches_of(request.user))

    @extend_schema(request=WatchInput, responses={201: WatchSerializer})
    def create(self, request: Request) -> Response:
        """Watch a lens; one that you watch already stays as it is."""
        return answer_once(request, lambda: self._create(request))

    def retrieve(self, request: Request, lens: str) -> Response:
        """Whether you watch a lens: since when, or a 404."""
        return tagged(
            request, WatchSerializer(watch_of(request.user, gear_by_slug(GearKind.LENS, lens))).data
        )

    def destroy(self, request: Request, lens: str) -> Response:
        """Stop watching a lens."""
        with transaction.atomic():
            watch = watch_of(request.user, gear_by_slug(GearKind.LENS, lens))
            require_match(request, WatchSerializer(watch).data)
            unwatch_lens(account=request.user, lens=watch.lens)
        return Response(status=204)

    def _create(self, request: Request) -> Response:
        sent = WatchInput(data=request.data)
        sent.is_valid(raise_exception=True)
        lens = gear_by_slug(GearKind.LENS, sent.validated_data["lens"])
        watch = watch_lens(account=request.user, lens=lens)
        location = request.build_absolute_uri(f"{request.path}{lens.slug}/")
        return tagged(request, WatchSerializer(watch).data, status=201, headers={"Location": location})


class NoticeChange(StrictSerializer):
    notice = serializers.IntegerField(required=False, help_text="Id of one notice; all of them without it.")


class NoticesRead(serializers.Serializer):
    marked = serializers.IntegerField(help_text="How many had not been read before.")


class Notices(Resource):
    """What concerns you: changed verdicts on your lenses, and questions about your reports."""

    signed_in = True
    orders = {"newest": ("-id",), "oldest": ("id",)}
    queryset = Notice.objects.none()
    serializer_class = NoticeSerializer
    queries = {"list": ListQuery}
    what = "notice of yours"

    def list(self, request: Request) -> Response:
        """Your notices, newest first."""
        return self.paged(
            notices_of(request.user),
            lambda page: NoticeSerializer(notices_told(page), many=True).data,
        )

    @extend_schema(request=NoticeChange, responses=NoticesRead)
    def read(self, request: Request) -> Response:
        """Mark one notice, or all, as read."""
        sent = NoticeChange(data=request.data)
        sent.is_valid(raise_exception=True)
        marked = mark_read(account=request.user, notice_id=sent.validated_data.get("notice"))
        return Response({"marked": marked})
