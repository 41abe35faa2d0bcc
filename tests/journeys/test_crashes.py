"""Web workers killed while frames are being sent, and task workers killed while frames are being measured: nothing that
was acknowledged is lost, nothing is done twice, and nothing is left lying about."""

import json
import os
import random
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

import httpx
import pytest

from tests.report_factories import jpeg_upload, photographed

pytestmark = pytest.mark.slow
ROOT = Path(__file__).resolve().parents[2]
FRAMES = 24
KILLS = 20
TOKEN = "a" * 32
SET_UP = """
import json, django
django.setup()
from django.test import Client
from registry.reports.models import Report
from tests.report_factories import ReportFactory
draft = ReportFactory(basis="measured")
client = Client()
client.force_login(draft.author)
print(json.dumps({"draft": draft.public_id, "session": client.cookies["sessionid"].value}))
"""


class Site:
    """A registry of its own in a folder: its server, its worker, and a look into its database."""

    def __init__(self, folder: Path):
        self.folder = folder
        self.environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"} | {
            "CLEANSTOP_DATA_DIR": str(folder),
            "DJANGO_SETTINGS_MODULE": "registry.project.settings",
            "PYTHONPATH": str(ROOT),
            "DJANGO_DEBUG": "1",  # no collected styles are needed
        }
        self.run("manage.py", "migrate", "--verbosity", "0")
        told = json.loads(self.run("-c", SET_UP).splitlines()[-1])
        self.draft, self.session = told["draft"], told["session"]
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.address = f"127.0.0.1:{probe.getsockname()[1]}"

    def run(self, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, *arguments], cwd=ROOT, env=self.environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def start(self, *arguments: str) -> subprocess.Popen:
        return subprocess.Popen(
            [sys.executable, *arguments], cwd=ROOT, env=self.environment, stdout=subprocess.DEVNULL
        )

    def serve(self) -> subprocess.Popen:
        options = ["--bind", self.address, "--workers", "2", "--worker-class", "gthread", "--threads", "4"]
        return self.start("-m", "gunicorn", "registry.project.wsgi:application", *options)

    def work(self) -> subprocess.Popen:
        return self.start("manage.py", "run_worker", "--interval", "0.1")

    def rows(self, question: str) -> list[tuple]:
        with closing(sqlite3.connect(self.folder / "registry.sqlite3", timeout=30)) as database:
            return database.execute(question).fetchall()

    def count(self, question: str) -> int:
        return self.rows(f"SELECT count(*) FROM {question}")[0][0]

    def files(self, kind: str) -> set[str]:
        folder = self.folder / "private" / kind
        return {path.name for path in folder.rglob("*") if path.is_file()} if folder.exists() else set()

    def send(self, name: str, content: bytes) -> bool:
        """Whether the server acknowledged the frame; a connection that breaks is no answer."""
        try:
            answer = httpx.post(
                f"http://{self.address}/reports/{self.draft}/frames/",
                files={"frames": (name, content, "image/jpeg")},
                headers={"X-One-Frame": "1", "X-CSRFToken": TOKEN},
                cookies={"sessionid": self.session, "csrftoken": TOKEN},
                timeout=60,
            )
        except httpx.TransportError:
            return False
        return answer.status_code == 200


@pytest.fixture(scope="module")
def contents():
    stops = (4, 5.6, 8, 11)
    frames = (
        photographed(frame=number, f_number=stops[number % 4], size=(480, 320)) for number in range(FRAMES)
    )
    return {f"DSC_{number:02}.jpg": jpeg_upload(frame).read() for number, frame in enumerate(frames)}


@pytest.fixture
def site(tmp_path):
    return Site(tmp_path / "site")


def until(true, seconds=120):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it took too long"
        time.sleep(0.05)


def children_of(process: subprocess.Popen) -> list[int]:
    listed = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text()
    return [int(pid) for pid in listed.split()]


def kill_one(process: subprocess.Popen) -> bool:
    workers = children_of(process)
    if workers:
        os.kill(random.choice(workers), signal.SIGKILL)
    return bool(workers)


def sent_by_three(site, names, contents):
    """Send frames three at a time, as the page does; returns the names that were acknowledged."""
    acknowledged, waiting = set(), list(names)

    def sender():
        while waiting:
            name = waiting.pop()
            if site.send(name, contents[name]):
                acknowledged.add(name)

    senders = [threading.Thread(target=sender) for _ in range(3)]
    for one in senders:
        one.start()
    return acknowledged, senders


def test_a_killed_web_worker_loses_no_frame_that_it_acknowledged(site, contents):
    random.seed(1)
    server, kills, missing = site.serve(), 0, set(contents)
    try:
        until(lambda: site.send("DSC_00.jpg", contents["DSC_00.jpg"]))
        while kills < KILLS or missing:
            acknowledged, senders = sent_by_three(site, sorted(missing or contents), contents)
            while any(one.is_alive() for one in senders):
                time.sleep(random.uniform(0.02, 0.15))
                kills += kills < KILLS and kill_one(server)
            missing -= acknowledged
            stored = {name for (name,) in site.rows("SELECT file_name FROM reports_sampleimage")}
            assert acknowledged <= stored
    finally:
        server.terminate()
        server.wait(timeout=60)
    assert site.count("reports_sampleimage") == FRAMES
    originals = {Path(name).name for (name,) in site.rows("SELECT original FROM reports_sampleimage")}
    assert originals <= site.files("arriving")
    assert site.count("django_tasks_database_dbtaskresult WHERE task_path LIKE '%measure_frame'") == FRAMES
    # What a killed worker had written and not told of goes with the next sweep.
    sweep = "import django; django.setup(); from datetime import timedelta as t;"
    sweep += "from registry.reports.services.upkeep import sweep_stale_originals as s; s(older_than=t(0))"
    os.sync()
    time.sleep(0.1)
    site.run("-c", sweep)
    assert site.files("arriving") <= originals


def test_a_killed_task_worker_measures_each_frame_once(site, contents):
    server = site.serve()
    try:
        until(lambda: site.send("DSC_00.jpg", contents["DSC_00.jpg"]))
        assert all(site.send(name, content) for name, content in contents.items())
    finally:
        server.terminate()
        server.wait(timeout=60)
    measured = "reports_measurement WHERE from_sweep = 0"
    running = "django_tasks_database_dbtaskresult WHERE status = 'RUNNING'"
    for _ in range(5):
        before, worker = site.count(measured), site.work()
        until(lambda before=before: site.count(measured) > before and site.count(running))
        worker.kill()
        worker.wait()
    site.run("manage.py", "run_worker", "--batch")
    assert site.count(measured) == site.count("reports_sampleimage") == FRAMES
    assert site.count("reports_sampleimage WHERE state IN ('measured', 'uncertain')") == FRAMES
    assert site.count("reports_reading") == FRAMES
    assert site.files("arriving") == set()
    kept = {Path(name).name for (name,) in site.rows("SELECT kept FROM reports_sampleimage")}
    assert site.files("kept") == kept
