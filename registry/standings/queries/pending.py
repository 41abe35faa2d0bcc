"""Whether a standing is about to change."""

from __future__ import annotations

from django_tasks import TaskResultStatus
from django_tasks_db.models import DBTaskResult

from registry.ledger.models import Event
from registry.reports.models import Report

_REFRESH = "registry.standings.tasks.refresh_for_report"
_UNDER_WAY = (TaskResultStatus.READY, TaskResultStatus.RUNNING)


def refresh_is_due(report: Report) -> bool:
    """Whether what last happened to a report has yet to reach the standings of its lens."""
    events = Event.objects.filter(subject_kind="report", subject_id=report.public_id)
    latest = events.order_by("-sequence").values_list("sequence", flat=True).first()
    if latest is None:
        return False
    tasks = DBTaskResult.objects.filter(task_path=_REFRESH, status__in=_UNDER_WAY)
    return tasks.filter(args_kwargs__args__0=latest).exists()
