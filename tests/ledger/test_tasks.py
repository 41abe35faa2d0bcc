"""Tasks that fail for a while, tasks whose worker died, and draining the queue."""

import os
import subprocess
import sys
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from registry.ledger.retries import WORKERS_A_TASK_MAY_LOSE, reap_stale_tasks, worker_name
from registry.ledger.worker import RegistryWorker, TaskFailed, drain_tasks
from tests import queued

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def fresh_notes():
    queued.CALLS.clear()
    queued.FAILURES.clear()
    queued.GIVEN_UP.clear()


def statuses():
    return sorted(DBTaskResult.objects.values_list("status", flat=True))


def leave_running(*, minutes_ago=0.0, workers=("elsewhere:1",), **arguments):
    """As a worker leaves its task when it is killed hard."""
    result = DBTaskResult.objects.get(pk=queued.take_note.enqueue("dune", **arguments).id)
    DBTaskResult.objects.filter(pk=result.pk).update(
        status="RUNNING",
        started_at=timezone.now() - timedelta(minutes=minutes_ago),
        worker_ids=list(workers),
    )
    return result


class TestDraining:
    def test_runs_what_is_queued_and_counts_it(self):
        queued.take_note.enqueue("dune", mark="a")
        queued.take_note.enqueue("marsh")
        assert drain_tasks() == 2
        assert sorted(queued.CALLS) == [("dune", "a"), ("marsh", "")]
        assert drain_tasks() == 0

    def test_runs_the_tasks_that_tasks_enqueue(self):
        queued.note_and_pass_on.enqueue(2)
        assert drain_tasks() == 3

    def test_leaves_a_task_that_is_not_due(self):
        queued.take_note.using(run_after=timezone.now() + timedelta(hours=1)).enqueue("later")
        assert drain_tasks() == 0

    def test_raises_with_the_traceback_of_a_task_that_failed_for_good(self):
        queued.refuse.enqueue("brine")
        with pytest.raises(TaskFailed, match="“brine” is no word"):
            drain_tasks()


class TestRetries:
    def test_a_task_that_fails_twice_succeeds_at_the_third_attempt_with_the_same_arguments(self):
        queued.FAILURES[:] = [OSError("disk"), OSError("disk")]
        queued.take_note.enqueue("dune", mark="a")
        assert drain_tasks() == 3
        assert queued.CALLS == [("dune", "a")] * 3
        assert statuses() == ["FAILED", "FAILED", "SUCCESSFUL"]

    def test_each_failed_attempt_keeps_its_traceback(self):
        queued.FAILURES[:] = [OSError("the disk is full")]
        queued.take_note.enqueue("dune")
        drain_tasks()
        assert "the disk is full" in DBTaskResult.objects.get(status="FAILED").traceback

    def test_a_third_failure_is_final(self):
        queued.FAILURES[:] = [OSError("disk")] * 3
        queued.take_note.enqueue("dune")
        with pytest.raises(TaskFailed, match="disk"):
            drain_tasks()
        assert statuses() == ["FAILED"] * 3

    def test_the_delay_grows(self):
        queued.FAILURES[:] = [OSError("disk")] * 3
        queued.take_note.enqueue("dune")
        with pytest.raises(TaskFailed):
            drain_tasks()
        first, second = DBTaskResult.objects.filter(args_kwargs__kwargs__has_key="attempt").order_by(
            "run_after"
        )
        assert second.run_after - second.enqueued_at > 5 * (first.run_after - first.enqueued_at)

    def test_a_domain_error_is_not_tried_again(self):
        queued.refuse.enqueue("brine")
        with pytest.raises(TaskFailed):
            drain_tasks()
        assert queued.CALLS == [("brine", "")]


class TestReaping:
    def test_a_task_beyond_its_lease_goes_back_and_then_runs(self):
        leave_running(minutes_ago=16)
        assert reap_stale_tasks() == 1
        assert drain_tasks() == 1

    def test_a_task_within_its_lease_is_left_alone(self):
        leave_running(minutes_ago=14)
        assert reap_stale_tasks() == 0
        assert statuses() == ["RUNNING"]

    def test_a_task_of_a_dead_process_of_this_machine_goes_back_at_once(self):
        ended = subprocess.Popen([sys.executable, "-c", ""])
        ended.wait()
        leave_running(workers=[worker_name().replace(f":{os.getpid()}", f":{ended.pid}")])
        assert reap_stale_tasks() == 1

    def test_a_task_of_a_living_process_of_this_machine_is_left_alone(self):
        leave_running(workers=[worker_name()])
        assert reap_stale_tasks() == 0

    def test_a_task_that_kills_every_worker_is_given_up(self):
        result = leave_running(minutes_ago=16, workers=["elsewhere:1"] * WORKERS_A_TASK_MAY_LOSE)
        assert reap_stale_tasks() == 0
        result.refresh_from_db()
        assert result.status == "FAILED"
        assert "lost its worker 3 times" in result.traceback

    def test_who_waits_for_a_task_that_kills_every_worker_is_told(self):
        lost = ["elsewhere:1"] * WORKERS_A_TASK_MAY_LOSE
        leave_running(minutes_ago=16, workers=lost, mark="a", attempt=2)
        reap_stale_tasks()
        assert queued.GIVEN_UP == [("dune", "a")]

    def test_a_task_whose_giving_up_fails_holds_no_other_back(self, monkeypatch):
        def stumble(*arguments, **named):
            raise OSError("disk")

        monkeypatch.setattr(queued.take_note.func, "give_up", stumble)
        leave_running(minutes_ago=17, workers=["elsewhere:1"] * WORKERS_A_TASK_MAY_LOSE)
        leave_running(minutes_ago=16)
        assert reap_stale_tasks() == 1
        assert statuses() == ["FAILED", "READY"]

    def test_a_task_that_finished_meanwhile_keeps_its_result(self, monkeypatch):
        result = leave_running(minutes_ago=16)
        stale = list(DBTaskResult.objects.running())
        result.refresh_from_db()
        result.set_successful(None)
        monkeypatch.setattr(type(DBTaskResult.objects.all()), "__iter__", lambda self: iter(stale))
        assert reap_stale_tasks() == 0
        monkeypatch.undo()
        assert statuses() == ["SUCCESSFUL"]

    def test_the_command_says_how_many(self, capsys):
        leave_running(minutes_ago=3)
        call_command("reap_stale_tasks", lease_minutes=2)
        assert "1 tasks are back" in capsys.readouterr().out


@pytest.mark.django_db(transaction=True)
class TestTheWorkerCommand:
    def test_in_batch_mode_it_puts_lost_tasks_back_runs_all_and_stops(self, monkeypatch, capsys):
        monkeypatch.setattr(RegistryWorker, "configure_signals", lambda self: None)
        leave_running(minutes_ago=16)
        queued.take_note.enqueue("marsh")
        call_command("run_worker", batch=True)
        assert sorted(word for word, _ in queued.CALLS) == ["dune", "marsh"]
        assert "1 tasks whose worker died" in capsys.readouterr().out

    def test_it_serves_until_it_is_told_to_stop(self, monkeypatch):
        worker = RegistryWorker(interval=0)
        queued.take_note.enqueue("marsh")
        monkeypatch.setattr("registry.ledger.worker.time.sleep", lambda _: setattr(worker, "running", False))
        worker.serve()
        assert queued.CALLS == [("marsh", "")]
