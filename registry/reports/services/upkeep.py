"""Looking after frames that nobody finished: stale originals, lost tasks, files without a row."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from registry.errors import Unreadable
from registry.reports import storage
from registry.reports.models import ImageState, SampleImage
from registry.reports.services.measuring import record_unreadable, unmeasurable

STALE_AFTER = timedelta(hours=1)
_WAITING = (ImageState.ARRIVED, ImageState.TAKEN_IN)


def sweep_stale_originals(*, older_than: timedelta = STALE_AFTER, now: datetime | None = None) -> int:
    """Finish frames that have waited longer than older_than with no task left for them, and delete arrived files
    that belong to no frame. Returns how many originals and frames were dealt with.

    Originals may hold a location or a name, so that none outlives the time it takes to sanitise it.
    """
    before = (now or timezone.now()) - older_than
    known = set(SampleImage.objects.exclude(original="").values_list("original", flat=True))
    orphans = [name for name in storage.arrived_before(before) if name not in known]
    storage.discard(private_names=orphans)
    unfinished = SampleImage.objects.filter(state__in=_WAITING, updated_at__lt=before)
    lost = list(unfinished.exclude(pk__in=_frames_with_a_task()))
    for image in lost:
        record_unreadable(image=image, error=Unreadable(unmeasurable(image)))
    return len(orphans) + len(lost)


def _frames_with_a_task() -> set[int]:
    """Primary keys of the frames for which a task waits or runs."""
    unfinished = DBTaskResult.objects.filter(
        task_path="registry.reports.tasks.measure_frame", status__in=("READY", "RUNNING")
    )
    return {
        arguments["args"][0]
        for arguments in unfinished.values_list("args_kwargs", flat=True)
        if arguments["args"]
    }
