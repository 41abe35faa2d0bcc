"""The tables of dotted paths lead somewhere, and the migrations say what the models say."""

import pytest
from django.core.management import call_command
from django.utils.module_loading import import_string
from django_tasks.base import Task

from registry.project.followers import EVERY, FOLLOWERS


@pytest.mark.parametrize("path", sorted({*EVERY, *(path for paths in FOLLOWERS.values() for path in paths)}))
def test_every_follower_is_a_task_that_can_be_enqueued(path):
    assert isinstance(import_string(path), Task)


@pytest.mark.django_db
def test_no_migration_is_missing():
    call_command("makemigrations", check=True, dry_run=True, verbosity=1)


def test_django_finds_nothing_wrong():
    call_command("check", fail_level="WARNING")
