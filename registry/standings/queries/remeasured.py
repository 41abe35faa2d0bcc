"""What measuring kept frames again has changed so far, from the event log: runs that were broken off count too."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from registry.ledger.models import Event
from registry.standings.models import StandingChange


@dataclass(frozen=True)
class RemeasuredSoFar:
    """Submitted reports whose readings changed under one method version, and the standings that moved by it."""

    method_version: str
    reports: Sequence[Event]
    moved: Sequence[StandingChange]

    def to_dict(self) -> dict[str, Any]:
        """A form that JSON can keep; EV is None where there was or is no reading."""
        return {
            "method_version": self.method_version,
            "reports": [
                {"report": event.subject_id, "lens": event.data["lens"], "readings": event.data["readings"]}
                for event in self.reports
            ],
            "standings": [
                {
                    "lens": change.lens.slug,
                    "cut_on_group": change.cut_on_group,
                    "focal_zone": change.focal_zone,
                    "before": change.before,
                    "after": change.after,
                }
                for change in self.moved
            ],
        }


def remeasured_so_far(method_version: str) -> RemeasuredSoFar:
    """Oldest first."""
    by_method = {"data__method_version": method_version, "data__has_key": "readings"}
    events = list(Event.objects.filter(name="report.remeasured", **by_method).order_by("sequence"))
    moved = StandingChange.objects.filter(cause_event__in=[event.sequence for event in events])
    return RemeasuredSoFar(method_version, events, list(moved.select_related("lens").order_by("id")))
