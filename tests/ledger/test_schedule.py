"""Recurring tasks come when they are due, and not before."""

from datetime import timedelta

import pytest
from django.utils import timezone

from registry.ledger.schedule import enqueue_what_is_due
from registry.project.followers import EVERY

pytestmark = pytest.mark.django_db


def test_every_recurring_task_is_enqueued_once_and_then_waits_its_interval():
    assert enqueue_what_is_due() == list(EVERY)
    assert enqueue_what_is_due() == []


def test_a_recurring_task_comes_again_after_its_interval():
    enqueue_what_is_due()
    waited = timedelta(hours=1, minutes=1)
    due = [task for task, interval in EVERY.items() if interval <= waited]
    assert due and len(due) < len(EVERY)
    assert enqueue_what_is_due(now=timezone.now() + waited) == due


def test_recurring_tasks_run_on_an_empty_registry(drain):
    enqueue_what_is_due()
    assert drain() == len(EVERY)
