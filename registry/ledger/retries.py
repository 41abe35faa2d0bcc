"""Tasks that may fail for a while, and tasks whose worker died."""

import logging
import os
import socket
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import wraps

from django.utils import timezone
from django.utils.module_loading import import_string
from django_tasks import task
from django_tasks.base import Task
from django_tasks_db.models import DBTaskResult

from registry.errors import CleanstopError

logger = logging.getLogger(__name__)

FIRST_DELAY = timedelta(seconds=5)
DELAY_FACTOR = 6  # 5 s, 30 s, 3 min
LEASE = timedelta(minutes=15)  # far beyond any task's own time
WORKERS_A_TASK_MAY_LOSE = 3  # a task that kills its worker each time is not tried for ever


class WillRetry(Exception):
    """This attempt failed and another is in the queue. Its cause is the failure."""


class WorkerLost(Exception):
    """The worker died while it ran this task, as often as a task may lose its worker."""


def retried_task(
    attempts: int = 3, *, priority: int = 0, give_up: Callable[..., None] | None = None
) -> Callable[[Callable], Task]:
    """A task that goes back into the queue when it fails, with a growing delay, `attempts` times in all.

    Domain errors (registry.errors) are not retried: trying again would not mend what was sent. Each failed
    attempt stays in the task table with its traceback. Tasks must be idempotent. give_up is called with the
    task's arguments when the last attempt failed, or the task lost its worker too often, so that nobody waits for it
    for ever.
    """

    def decorate(function: Callable) -> Task:
        @wraps(function)
        def run(*arguments, attempt: int = 1, **named):
            try:
                return function(*arguments, **named)
            except CleanstopError:
                raise
            except Exception as failure:
                if attempt >= attempts:
                    if give_up is not None:
                        give_up(*arguments, **named)
                    raise
                delay = FIRST_DELAY * DELAY_FACTOR ** (attempt - 1)
                logger.warning("%s failed (attempt %d); next in %s", function.__name__, attempt, delay)
                again = import_string(f"{function.__module__}.{function.__qualname__}")
                again.using(run_after=timezone.now() + delay).enqueue(
                    *arguments, attempt=attempt + 1, **named
                )
                raise WillRetry(
                    f"attempt {attempt} of {attempts} failed; the next follows in {delay}"
                ) from failure

        run.give_up = give_up
        return task(priority=priority)(run)

    return decorate


def reap_stale_tasks(*, lease: timedelta = LEASE, now: datetime | None = None) -> int:
    """Put tasks whose worker died back into the queue, and return how many.

    A task is stale when its worker was a process of this machine that is gone, or when it has run longer
    than the lease. One that has lost its worker too often is marked failed instead.
    """
    reaped = 0
    for result in DBTaskResult.objects.running():
        if not (_worker_is_gone(result) or result.started_at < (now or timezone.now()) - lease):
            continue
        # Only if nobody finished or took it meanwhile.
        mine = DBTaskResult.objects.running().filter(pk=result.pk, started_at=result.started_at)
        if len(result.worker_ids) >= WORKERS_A_TASK_MAY_LOSE:
            if mine.update(status="READY"):
                _give_up(result)
        else:
            reaped += mine.update(status="READY")
    return reaped


def _give_up(result: DBTaskResult) -> None:
    """Mark a task failed that loses every worker, and let those who wait for it go on."""
    result.set_failed(WorkerLost(f"{result.task_path} lost its worker {len(result.worker_ids)} times"))
    logger.error("%s lost its worker too often and is given up", result.task_path)
    give_up = getattr(import_string(result.task_path).func, "give_up", None)
    if give_up is None:
        return
    named = {name: value for name, value in result.args_kwargs["kwargs"].items() if name != "attempt"}
    try:
        give_up(*result.args_kwargs["args"], **named)
    except Exception:  # the other lost tasks have to go back all the same
        logger.exception("%s could not be given up", result.task_path)


def worker_name() -> str:
    """Name of this process as a worker: machine and process number, so that others can see that it is gone."""
    return f"{socket.gethostname()[:40]}:{os.getpid()}"


def _worker_is_gone(result: DBTaskResult) -> bool:
    machine, _, process = (result.worker_ids or [""])[-1].rpartition(":")
    if machine != socket.gethostname()[:40] or not process.isdigit():
        return False
    try:
        os.kill(int(process), 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return False
