"""A server killed (SIGKILL) in the middle of thousands of reports, more than once: whole lots are there or not at
all, and the same lines sent again make it up to exactly as many reports as there are lines.

On SQLite, or where DATABASE_URL names a PostgreSQL server, in a database of its own on it."""

import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from pathlib import Path

import httpx
import pytest

from api.v1.report_batches import LINES_AT_ONCE
from tests.benchmarks.batch_speed import MARKS, write_body
from tests.own_database import database_of_its_own

pytestmark = pytest.mark.slow
ROOT = Path(__file__).resolve().parents[2]
LINES = 10_000
KILLED_AFTER = (0, 1, 3)  # lots that are there already
WAITED_SECONDS = 120
DATABASE = "cleanstop_broken_batches"
SET_UP = """
import json, django
django.setup()
from tests.benchmarks.batch_speed import prepare
print(json.dumps(prepare()))
"""
FOUND = """
import json, django
django.setup()
from registry.ledger.models import Event
from registry.ledger.services import verify
from registry.reports.models import ImportedReport, Reading, Report
tables = (Report, ImportedReport, Event.objects.filter(name="report.submitted"), Reading)
print(json.dumps([getattr(table, "objects", table).count() for table in tables] + [len(verify())]))
"""


class Site:
    """A registry of its own with one server process, killed with all its children."""

    def __init__(self, folder, database):
        self.environment = os.environ | {
            "CLEANSTOP_DATA_DIR": str(folder),
            "DATABASE_URL": database,
            "DJANGO_SETTINGS_MODULE": "registry.project.settings",
            "PYTHONPATH": str(ROOT),
            "DJANGO_DEBUG": "1",  # no collected styles are needed
        }
        self.run("manage.py", "migrate", "--verbosity", "0")
        self.token, self.lenses, self.body = self.told(SET_UP)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.address = f"127.0.0.1:{probe.getsockname()[1]}"

    def run(self, *arguments):
        done = subprocess.run(
            [sys.executable, *arguments], cwd=ROOT, env=self.environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def told(self, script):
        return json.loads(self.run("-c", script).splitlines()[-1])

    @contextlib.contextmanager
    def served(self):
        command = [sys.executable, "-m", "gunicorn", "registry.project.wsgi:application"]
        options = ["--bind", self.address, "--workers", "1", "--worker-class", "gthread", "--threads", "2"]
        server = subprocess.Popen(
            [*command, *options],
            cwd=ROOT,
            env=self.environment,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        try:
            until(self.answers)
            yield server
        finally:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(server.pid, signal.SIGKILL)
            server.wait()

    def answers(self):
        with contextlib.suppress(httpx.TransportError):
            return httpx.get(f"http://{self.address}/api/v1/mounts/", timeout=30).status_code == 200
        return False

    def send(self, path):
        """The status of each line; none where the connection breaks."""
        headers = {"Authorization": f"Token {self.token}", "Content-Type": "application/x-ndjson"}
        address = f"http://{self.address}/api/v1/reports/batch/"
        try:
            answer = httpx.post(address, content=path.read_bytes(), headers=headers, timeout=300)
        except httpx.TransportError:
            return []
        return [json.loads(line)["status"] for line in answer.text.splitlines()]


def until(true):
    end = time.monotonic() + WAITED_SECONDS
    while not true():
        assert time.monotonic() < end, "it took too long"
        time.sleep(0.02)


def asked(database, question):
    if database.startswith("sqlite"):
        import sqlite3

        with contextlib.closing(sqlite3.connect(database.removeprefix("sqlite:///"), timeout=30)) as found:
            return found.execute(question).fetchone()[0]
    import psycopg

    with psycopg.connect(database) as found:
        return found.execute(question).fetchone()[0]


def is_writing(site):
    """Whether a lot is being written at this moment, as far as the database tells."""
    database = site.environment["DATABASE_URL"]
    question = (
        "SELECT count(*) FROM pg_stat_activity WHERE state = 'active' AND query LIKE 'COPY \"reports_%'"
    )
    return database.startswith("sqlite") or asked(database, question) > 0


def test_a_server_killed_amid_ten_thousand_lines_loses_and_doubles_none(tmp_path):
    with database_of_its_own(tmp_path, DATABASE) as database:
        site = Site(tmp_path, database)
        lines = tmp_path / "lines"
        write_body(lines, LINES, site.lenses, site.body, "broken")
        for lots in KILLED_AFTER:
            with site.served() as server:
                sender = threading.Thread(target=site.send, args=[lines])
                sender.start()
                until(
                    lambda lots=lots: (
                        asked(database, "SELECT count(*) FROM reports_report") >= lots * LINES_AT_ONCE
                    )
                )
                until(lambda: is_writing(site))
                os.killpg(server.pid, signal.SIGKILL)
                sender.join()
        until(lambda: is_whole(site))
        before = site.told(FOUND)
        assert before[0] == before[1] == before[2] and before[0] % LINES_AT_ONCE == 0 and before[4] == 0
        assert KILLED_AFTER[-1] * LINES_AT_ONCE <= before[0] < LINES, before
        with site.served():
            statuses = Counter(site.send(lines))
        assert statuses == {200: before[0], 201: LINES - before[0]}
        assert site.told(FOUND) == [LINES, LINES, LINES, LINES * len(MARKS), 0]


def is_whole(site):
    """Whether the killed server's last transaction is settled: its connection is gone."""
    database = site.environment["DATABASE_URL"]
    question = (
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"
    )
    return database.startswith("sqlite") or asked(database, question) == 0
