"""Set-up that every room's tests share. Rooms without Django run with `-p no:django` and use none of it."""

from __future__ import annotations

import pytest


@pytest.fixture(scope="session", autouse=True)
def _emptying_the_database_opens_the_event_log(request):
    """Transactional tests empty every table afterwards, which the event table's triggers would refuse."""
    if not request.config.pluginmanager.hasplugin("django"):
        yield
        return
    from django.db.backends.base.operations import BaseDatabaseOperations

    from registry.ledger.triggers import LOG, REFUSAL, close_table, open_table

    flush = BaseDatabaseOperations.execute_sql_flush
    # The tables that their apps' migrations close against change, with what the database then says.
    closed = {
        LOG: REFUSAL,
        "publishing_release": "a release never changes",
        "publishing_releasedstanding": "a release never changes",
        "moderation_decision": "a decision never changes; take it back with another",
        "moderation_decisionreport": "a decision never changes; take it back with another",
        "reports_reply": "a reply stays as it was said",
        "reports_reportrevision": "a revision is kept as it was",
    }
    names_in = {"reports_reportrevision": {"content": ("tester_name", "citation_author")}}

    def flush_with_open_log(operations, statements):
        for table in closed:
            open_table(operations.connection, table)
        try:
            flush(operations, statements)
        finally:
            for table, refusal in closed.items():
                close_table(operations.connection, table, refusal, names_in=names_in.get(table))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(BaseDatabaseOperations, "execute_sql_flush", flush_with_open_log)
        yield


@pytest.fixture(autouse=True)
def _files_and_passwords(request, tmp_path):
    """Files go to the test's own folder, and hashing a password costs nothing."""
    if not request.config.pluginmanager.hasplugin("django"):
        return
    settings = request.getfixturevalue("settings")
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.PRIVATE_ROOT = tmp_path / "private"
    settings.STORAGES = settings.STORAGES | {
        "private": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": settings.PRIVATE_ROOT, "base_url": None},
        }
    }
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    settings.LOOK_UPS_WRITTEN_EVERY_SECONDS = float("inf")  # no page of a test writes what another's gathered


@pytest.fixture(autouse=True)
def _factories_count_alike_in_every_test():
    """Names and addresses that factories number don't depend on which tests ran before."""
    from factory.django import DjangoModelFactory

    waiting = DjangoModelFactory.__subclasses__()
    while waiting:
        kind = waiting.pop()
        waiting += kind.__subclasses__()
        kind.reset_sequence(100, force=True)


@pytest.fixture
def drain():
    """Run everything queued, in this process; returns how many tasks ran and raises if one failed."""
    from registry.ledger.worker import drain_tasks

    return drain_tasks
