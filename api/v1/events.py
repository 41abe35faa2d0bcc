"""The event log: what happened, in order, each event sealed by the one before."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import tagged
from api.resource import Catalogue, ListQuery
from registry.ledger.models import Event
from registry.moderation.queries.log import actors_of


class EventSerializer(serializers.ModelSerializer):
    """hash is the SHA-256, in hexadecimal, of a JSON list in UTF-8 without spaces: sequence, name, at, actor,
    subject_kind, subject_id, data with its keys sorted, previous_hash; at as it stands here."""

    at = serializers.SerializerMethodField(help_text="In UTC, to the microsecond.")
    actor = serializers.SerializerMethodField(
        help_text="Id of the account; empty for the registry itself; null for a moderator where this installation "
        "does not name them, and then only the chain can be followed, not this event’s own hash."
    )
    by = serializers.SerializerMethodField(help_text="Who did it, as this installation names them.")
    data = serializers.JSONField(read_only=True, help_text="What happened; its members depend on the name.")

    class Meta:
        model = Event
        fields = [
            "sequence", "name", "at", "actor", "by", "subject_kind", "subject_id", "data", "previous_hash", "hash",
        ]  # fmt: skip
        read_only_fields = fields

    def get_at(self, event: Event) -> str:
        return event.at.isoformat(timespec="microseconds")

    def get_actor(self, event: Event) -> str | None:
        known = self.context["actors"].get(event.actor)
        return event.actor if known is None or known.named else None

    def get_by(self, event: Event) -> str:
        known = self.context["actors"].get(event.actor)
        return known.name if known else ""


class EventQuery(ListQuery):
    name = serializers.CharField(required=False, max_length=60, help_text="Such as report.submitted.")
    subject_kind = serializers.CharField(required=False, max_length=30, help_text="Such as report or lens.")
    subject_id = serializers.CharField(required=False, max_length=140, help_text="Its id or slug.")


class Events(Catalogue):
    """Everything that changed what the registry says. Events are only ever added."""

    queryset = Event.objects.order_by("-sequence")
    serializer_class = EventSerializer
    queries = {"list": EventQuery}
    orders = {"newest": ("-sequence",), "oldest": ("sequence",)}
    lookup_field = "sequence"
    lookup_value_regex = r"\d{1,15}"
    what = "event"

    def list(self, request: Request) -> Response:
        """Events, newest first. Note down the newest hash, and see later whether the log was cut."""
        same = {
            name: self.asked[name] for name in ("name", "subject_kind", "subject_id") if name in self.asked
        }
        return self.paged(self.rows().filter(**same), _told)

    def retrieve(self, request: Request, sequence: str) -> Response:
        """One event, by its number from 1."""
        return tagged(request, _told([self.one(self.rows())])[0])


def _told(events: Iterable[Event]) -> list[dict[str, Any]]:
    events = list(events)
    context = {"actors": actors_of(event.actor for event in events)}
    return EventSerializer(events, many=True, context=context).data
