"""Several processes that record at once leave one whole chain and lose nothing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection

ROOT = Path(__file__).parents[2]
WRITERS, EACH = 3, 40

RECORD = f"""
import django
django.setup()
from django.db import transaction
from registry.ledger.services import record
for number in range({EACH}):
    with transaction.atomic():
        record("lens.seen", actor=None, subject_kind="lens", subject_id=str(number))
"""
VERIFY = f"""
import django
django.setup()
from registry.ledger.models import Event
from registry.ledger.services import verify
assert verify() == [] and Event.objects.count() == {WRITERS * EACH}, Event.objects.count()
"""


def start(code, environment):
    return subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, env=os.environ | environment)


def database_for(tmp_path):
    """An embedded file of the test's own, or the test database of the server."""
    if connection.vendor == "sqlite":
        return f"sqlite:///{tmp_path / 'registry.sqlite3'}"
    server = connection.settings_dict
    return (
        f"postgres://{server['USER']}:{server['PASSWORD']}@{server['HOST']}:{server['PORT']}/{server['NAME']}"
    )


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_processes_that_record_at_once_leave_one_whole_chain(tmp_path):
    environment = {
        "DJANGO_SETTINGS_MODULE": "registry.project.settings",
        "DATABASE_URL": database_for(tmp_path),
        "CLEANSTOP_DATA_DIR": str(tmp_path),
    }
    if connection.vendor == "sqlite":
        migrate = [sys.executable, "manage.py", "migrate", "ledger", "--skip-checks", "--verbosity=0"]
        subprocess.run(migrate, cwd=ROOT, env=os.environ | environment, check=True)
    writers = [start(RECORD, environment) for _ in range(WRITERS)]
    assert [writer.wait() for writer in writers] == [0] * WRITERS
    assert start(VERIFY, environment).wait() == 0
