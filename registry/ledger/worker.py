"""Running what is in the queue: for ever beside the site, or until it is empty."""

import time

from django.db.models import Q
from django_tasks import DEFAULT_TASK_BACKEND_ALIAS
from django_tasks_db.management.commands.db_worker import Worker
from django_tasks_db.models import DBTaskResult
from django_tasks_db.utils import exclusive_transaction

from registry.ledger.retries import LEASE, WillRetry, reap_stale_tasks, worker_name
from registry.ledger.schedule import enqueue_what_is_due

REAP_EVERY_SECONDS = LEASE.total_seconds() / 5
WILL_RETRY = f"{WillRetry.__module__}.{WillRetry.__qualname__}"


class TaskFailed(Exception):
    """A task that was run to its end failed; the message carries its traceback."""


class RegistryWorker(Worker):
    """The task library's worker, which also looks for tasks whose worker died."""

    def __init__(self, *, interval: float = 1.0):
        super().__init__(
            queue_names=["*"],
            interval=interval,
            batch=True,
            backend_name=DEFAULT_TASK_BACKEND_ALIAS,
            startup_delay=False,
            max_tasks=None,
            worker_id=worker_name(),
            excluded_queue_names=[],
        )
        self._reaped_at = float("-inf")

    def run_task(self, db_task_result: DBTaskResult) -> None:
        super().run_task(db_task_result)
        self.reap_when_due()

    def reap_when_due(self) -> None:
        if time.monotonic() - self._reaped_at >= REAP_EVERY_SECONDS:
            self._reaped_at = time.monotonic()
            reap_stale_tasks()

    def serve(self) -> None:
        """Run tasks as they come, until a signal stops the process."""
        while self.running:
            self.reap_when_due()
            enqueue_what_is_due()
            self.run()
            if self.running:
                time.sleep(self.interval)


def drain_tasks() -> int:
    """Run every task that is due, here and now, until none is left; return how many ran.

    Tasks that those tasks enqueue run too, and the waiting time before a retry is skipped.
    Raises TaskFailed, with the traceback, at the first task that fails for good.
    """
    worker = RegistryWorker()
    count = 0
    while result := _claim_next(worker.worker_id):
        worker.run_task(result)
        count += 1
        if result.status == "FAILED" and result.exception_class_path != WILL_RETRY:
            raise TaskFailed(f"{result.task_path} with {result.args_kwargs} failed:\n{result.traceback}")
    return count


def _claim_next(worker_id: str) -> DBTaskResult | None:
    due = DBTaskResult.objects.ready() | DBTaskResult.objects.filter(
        Q(args_kwargs__kwargs__has_key="attempt"), status="READY"
    )
    with exclusive_transaction(due.db):
        result = due.get_locked()
        if result:
            result.claim(worker_id)
        return result
