"""How fast pages and endpoints are read, as shares of a bare view's requests per processor second.

The server is the one of production (gunicorn, one process here), the bare view one line behind the same middleware,
and all are asked in turn, so that whatever else the machine does falls on each alike. The data are grown tenfold to
see what grows with them. First each answer is checked to be the one meant.

Run: python -m tests.benchmarks.page_speed [--rounds 5] [--requests 150]
"""

from __future__ import annotations

import argparse
import http.client
import os
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.urls import include, path

LENSES, REPORTS_ON_THE_LENS = 300, 10
READINGS_EACH = 8
SLUG = "osterby-marram-looked-at"
WAITED_SECONDS = 60

READER = "Mozilla/5.0 (someone who reads)"  # what a program asks for is not counted as looked up
BARE = "bare view"
ASKED = {
    BARE: ("/bare/", {}),
    "lens page": (f"/lenses/{SLUG}/", {}),
    "lens page, 304": (f"/lenses/{SLUG}/", {"held": True}),
    "look-up page": ("/?mount=", {}),
    "look-up page, 304": ("/?mount=", {"held": True}),
    "API, one lens": (f"/api/v1/lenses/{SLUG}/", {}),
    "API, one lens, 304": (f"/api/v1/lenses/{SLUG}/", {"held": True}),
    "API, 50 lenses": ("/api/v1/lenses/?limit=50", {}),
}
WISHED = {
    "lens page": 0.30, "lens page, 304": 0.80, "look-up page": 0.25, "API, one lens": 0.40,
    "API, one lens, 304": 0.80, "API, 50 lenses": 0.25,
}  # fmt: skip


def bare(request: HttpRequest) -> HttpResponse:
    return HttpResponse(b"bare")


def site():
    """The site with the bare view beside its own, for gunicorn."""
    from django.conf import settings
    from django.core.wsgi import get_wsgi_application

    application = get_wsgi_application()
    settings.ROOT_URLCONF = (path("bare/", bare), path("", include("registry.project.urls")))
    return application


def fill(times: int) -> None:
    """A catalogue with reports on every lens; the lens looked at has its standings computed, the others the same."""
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)
    from django.db import transaction

    from registry.gear.models import Lens
    from registry.standings.models import Standing
    from registry.standings.services import refresh_lens
    from tests.factories import LensFactory

    with transaction.atomic():
        lens = LensFactory(name="Marram 35 mm f/1.4", slug=SLUG)
        _report(lens, REPORTS_ON_THE_LENS * times)
        refresh_lens(lens)
        others = LensFactory.create_batch(LENSES * times - 1)
        _report_alike(others)
        told = list(Standing.objects.filter(lens=lens))
        Standing.objects.bulk_create(_copy(row, lens=other) for other in others for row in told)
    assert Lens.objects.count() == LENSES * times


def _report(lens, count: int) -> None:
    from registry.reports.models import ReportState
    from tests.report_factories import ReportFactory

    grades = dict(zip((1.4, 2, 2.8, 4, 5.6, 8, 11, 16), (0, 0, 0, 0, 0, 1, 3, 3), strict=True))
    for _ in range(count):
        report = ReportFactory(lens=lens, grades=grades)
        report.state, report.submitted_at = ReportState.SUBMITTED, report.created_at
        report.save()


def _report_alike(lenses) -> None:
    """As many reports on each of the other lenses, copied from those on the first."""
    from registry.identifiers import new_public_id
    from registry.reports.models import Reading, Report, Sweep

    examples = list(Report.objects.prefetch_related("sweeps__readings")[:REPORTS_ON_THE_LENS])
    for lens in lenses:
        reports = Report.objects.bulk_create(
            _copy(example, lens=lens, public_id=new_public_id()) for example in examples
        )
        sweeps = Sweep.objects.bulk_create(
            _copy(example.sweeps.all()[0], report=report)
            for example, report in zip(examples, reports, strict=True)
        )
        Reading.objects.bulk_create(
            _copy(reading, sweep=sweep)
            for example, sweep in zip(examples, sweeps, strict=True)
            for reading in example.sweeps.all()[0].readings.all()
        )


def _copy(row, **changes):
    values = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    values.pop("id")
    for name, value in changes.items():
        field = row._meta.get_field(name)
        values[field.attname] = value.pk if field.is_relation else value
    return type(row)(**values)


class Server:
    """The site in a process of its own, and a connection to it."""

    def __init__(self, environment: dict[str, str]):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        command = [sys.executable, "-m", "gunicorn", "--workers=1", "--threads=1", "--worker-class=gthread",
                   f"--bind=127.0.0.1:{self.port}", "tests.benchmarks.page_speed:site()"]  # fmt: skip
        self.process = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=WAITED_SECONDS)

    def __enter__(self) -> Server:
        until = time.monotonic() + WAITED_SECONDS
        while time.monotonic() < until:
            try:
                self.ask("/bare/")
            except OSError:
                self.connection.close()
                time.sleep(0.3)
            else:
                children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
                self.worker = int(children.read_text().split()[0])
                return self
        raise SystemExit("The site did not start.")

    def __exit__(self, *_) -> None:
        self.connection.close()
        self.process.terminate()
        self.process.wait(20)

    def ask(self, address: str, headers: dict[str, str] | None = None) -> tuple[int, bytes, str]:
        self.connection.request("GET", address, headers={"User-Agent": READER} | (headers or {}))
        answer = self.connection.getresponse()
        return answer.status, answer.read(), answer.headers.get("ETag", "")

    def processor_seconds(self) -> float:
        """Of all the worker's threads, in nanoseconds as the scheduler counts them (Linux, sched-stats)."""
        threads = Path(f"/proc/{self.worker}/task").glob("*/schedstat")
        return sum(int(thread.read_text().split()[0]) for thread in threads) / 1e9


def measure(server: Server, rounds: int, requests: int) -> dict[str, float]:
    """Processor seconds a request, the median of the rounds, by what is asked."""
    ways = {}
    for name, (address, how) in ASKED.items():
        status, body, tag = server.ask(address)
        assert status == 200 and (name == BARE or b"Marram" in body), f"{name}: {status}"
        headers = {"If-None-Match": tag} if "held" in how and tag else {}
        if "held" in how and (not tag or server.ask(address, headers)[0] != 304):
            continue  # this one does not know of 304 and is left out of the table
        ways[name] = (address, headers)
    taken: dict[str, list[float]] = {name: [] for name in ways}
    for _ in range(rounds):
        for name, (address, headers) in ways.items():
            begun = server.processor_seconds()
            for _ in range(requests):
                server.ask(address, headers)
            taken[name].append((server.processor_seconds() - begun) / requests)
    return {name: statistics.median(seconds) for name, seconds in taken.items()}


def measured_at(times: int, rounds: int, requests: int) -> dict[str, float]:
    with tempfile.TemporaryDirectory() as folder:
        environment = os.environ | {
            "CLEANSTOP_DATA_DIR": folder,
            "DJANGO_SETTINGS_MODULE": "registry.project.settings",
            "CLEANSTOP_API_READS": "1000000000",
        }
        command = [sys.executable, "-m", "tests.benchmarks.page_speed", "--fill", str(times)]
        subprocess.run(command, env=environment, check=True)
        with Server(environment) as server:
            return measure(server, rounds, requests)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rounds", type=int, default=5)
    options.add_argument("--requests", type=int, default=150)
    options.add_argument("--grown", type=int, default=10, help="how many times the data are grown")
    options.add_argument("--fill", type=int, help=argparse.SUPPRESS)
    asked = options.parse_args()
    if asked.fill:
        fill(asked.fill)
        return
    small = measured_at(1, asked.rounds, asked.requests)
    large = measured_at(asked.grown, asked.rounds, asked.requests)
    print(f"{LENSES} lenses with {REPORTS_ON_THE_LENS} reports each, and {asked.grown} times as many of both")
    print(
        f"{'what':24} {'of bare':>8} {'grown':>8} {'wished':>8}   bare: {small[BARE] * 1e3:.2f} ms of processor"
    )
    for name in small:
        wished = f"{WISHED[name]:.2f}" if name in WISHED else ""
        shares = [one[BARE] / one[name] if name in one else 0.0 for one in (small, large)]
        print(f"{name:24} {shares[0]:8.2f} {shares[1]:8.2f} {wished:>8}")


if __name__ == "__main__":
    main()
