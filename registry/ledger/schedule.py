"""Tasks that recur: each is enqueued when its last one is older than its interval. The queue is the memory."""

from __future__ import annotations

from datetime import datetime

from django.conf import settings
from django.utils import timezone
from django.utils.module_loading import import_string
from django_tasks_db.models import DBTaskResult


def enqueue_what_is_due(*, now: datetime | None = None) -> list[str]:
    """Enqueue every recurring task (settings.LEDGER_SCHEDULE: dotted path → interval) that is due.

    Returns their paths. Two workers may both find one due: recurring tasks are idempotent like all others.
    """
    now = now or timezone.now()
    due = []
    for path, interval in import_string(settings.LEDGER_SCHEDULE).items():
        if not DBTaskResult.objects.filter(task_path=path, enqueued_at__gt=now - interval).exists():
            import_string(path).enqueue()
            due.append(path)
    return due
