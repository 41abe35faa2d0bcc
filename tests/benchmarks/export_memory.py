"""How much memory the server holds while it streams the open data, and how long that takes.

A million readings are copied into a database of their own; then each export is asked of the production server
(gunicorn, one process) and read to its end, while the server process's resident memory is watched. Its peak is
compared with what it held idle, after one small export of each form had loaded all code. Time is given as a multiple
of a bare cursor that reads the same rows' columns. First the rows are counted.

Run: python -m tests.benchmarks.export_memory [--readings 1000000] [--tables readings reports] [--release]
On SQLite, or where DATABASE_URL names a PostgreSQL server, in a database of its own there, removed at the end.
"""

from __future__ import annotations

import argparse
import os
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from tests.own_database import database_of_its_own

LENSES = 1_000
READINGS_EACH = 10
LIMIT_MB = 100
WAITED_SECONDS = 120
MARKS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16, 22, 1.8)
FORMS = ("ndjson", "csv", "parquet")
BARE = {
    "readings": "SELECT r.*, s.focal_length_mm, p.public_id FROM reports_reading r JOIN reports_sweep s "
    "ON s.id = r.sweep_id JOIN reports_report p ON p.id = s.report_id WHERE p.state = 'submitted'",
    "reports": "SELECT * FROM reports_report WHERE state = 'submitted'",
}
DATABASE = "cleanstop_export_bench"


def fill(readings: int) -> None:
    """Lenses with reports of ten readings each, by sets of rows."""
    from django.db import transaction

    from registry.gear.models import Lens
    from tests.factories import LensFactory
    from tests.report_factories import ReportFactory

    with transaction.atomic():
        example = LensFactory(name="Dune 35 mm f/1.4", widest_f=1.4)
        report = ReportFactory(lens=example, grades={2: 0})
        lenses = [_like(example, slug=f"dune-{count}", name=f"Dune {count}") for count in range(1, LENSES)]
        Lens.objects.bulk_create(lenses, batch_size=500)
        report.sweeps.all().delete()
        keys = list(Lens.objects.values_list("pk", flat=True))
    for begun in range(0, readings // READINGS_EACH, 10_000):
        with transaction.atomic():
            _add_reports(report, keys, range(begun, min(begun + 10_000, readings // READINGS_EACH)))
    report.delete()


def _like(row, **changes):
    values = {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields}
    values.pop("id")
    return type(row)(**values | changes)


def _add_reports(example, lenses: list[int], numbers: range) -> None:
    from registry.identifiers import new_public_id
    from registry.reports.models import Reading, ReportState, Sweep
    from registry.setwise import add_columns, reserve_keys

    model, count = type(example), len(numbers)
    reports, sweeps = reserve_keys(model, count), reserve_keys(Sweep, count)
    fields = [field.attname for field in model._meta.concrete_fields]
    columns = {name: [getattr(example, name)] * count for name in fields}
    columns |= {"id": reports, "public_id": [new_public_id() for _ in numbers]}
    columns |= {"lens_id": [lenses[number % len(lenses)] for number in numbers]}
    columns |= {"state": [ReportState.SUBMITTED] * count, "submitted_at": [example.created_at] * count}
    columns |= {"notes": [f"evening {number}, a plain wall under an overcast sky" for number in numbers]}
    add_columns(model, columns)
    focal = [35.0] * count
    add_columns(Sweep, {"id": sweeps, "report_id": reports, "focal_length_mm": focal})
    rows = [(sweep, place) for sweep in sweeps for place in range(READINGS_EACH)]
    from registry.optics.stops import exact_av

    add_columns(
        Reading,
        {
            "sweep_id": [sweep for sweep, _ in rows],
            "f_number": [MARKS[place] for _, place in rows],
            "av": [exact_av(MARKS[place]) for _, place in rows],
            "excess_ev": [(sweep * 7 + place * 13) % 997 / 1000 for sweep, place in rows],
            "excess_se": [0.01] * len(rows),
            "grade": [place // 3 for _, place in rows],
            "method_version": ["1"] * len(rows),
        },
    )


class Server:
    """The production server with one process, and the peak of what that process holds."""

    def __init__(self, environment: dict[str, str]):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn.conf.py", "--workers=1",
                   f"--bind=127.0.0.1:{self.port}", "registry.project.wsgi:application"]  # fmt: skip
        self.process = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)

    def __enter__(self) -> Server:
        until = time.monotonic() + WAITED_SECONDS
        while time.monotonic() < until:
            try:
                self.read("mounts.csv")
            except OSError:
                time.sleep(0.3)
            else:
                children = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
                self.worker = int(children.read_text().split()[0])
                return self
        raise SystemExit("The server did not start.")

    def __exit__(self, *_) -> None:
        self.process.terminate()
        self.process.wait(20)

    def read(self, name: str) -> tuple[int, bytes]:
        """Read an export to its end; its length, and its last bytes."""
        address = f"http://127.0.0.1:{self.port}/api/v1/exports/{name}"
        length, last = 0, b""
        with urllib.request.urlopen(address, timeout=600) as answer:
            while block := answer.read(1 << 16):
                length, last = length + len(block), block
        return length, last

    def held(self) -> float:
        return held_by(self.worker)

    @contextmanager
    def watched(self) -> Iterator[list[float]]:
        """The peak in MB of what the server holds within; one figure, there once it is left."""
        with watched(self.worker) as peak:
            yield peak


def held_by(process: int) -> float:
    """Resident memory, MB (Linux, smaps_rollup); the proportional share would move as other processes come and go."""
    told = Path(f"/proc/{process}/smaps_rollup").read_text()
    return int(told.partition("\nRss:")[2].split()[0]) / 1024


@contextmanager
def watched(process: int) -> Iterator[list[float]]:
    peak, done = [held_by(process)], threading.Event()

    def watch() -> None:
        with suppress(ProcessLookupError, FileNotFoundError):  # it has ended
            while not done.wait(0.05):
                peak[0] = max(peak[0], held_by(process))

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        yield peak
    finally:
        done.set()
        watcher.join()


def bare_read(table: str) -> tuple[float, int]:
    """Seconds that a bare cursor takes for the same rows, chunk by chunk, and how many they are."""
    from django.db import connection, transaction

    begun, count = time.perf_counter(), 0
    with transaction.atomic():
        cursor = connection.chunked_cursor()
        try:
            cursor.execute(BARE[table])
            while rows := cursor.fetchmany(2_000):
                count += len(rows)
        finally:
            cursor.close()
    return time.perf_counter() - begun, count


def measure(environment: dict[str, str], readings: int, tables: list[str]) -> bool:
    flat = True
    with Server(environment) as server:
        for form in FORMS:
            server.read(f"lenses.{form}")
        idle = server.held()
        print(f"idle: {idle:.0f} MB")
        for table in tables:
            seconds, count = bare_read(table)
            assert count == (readings if table == "readings" else readings // READINGS_EACH), count
            for form in FORMS:
                with server.watched() as peak:
                    begun = time.perf_counter()
                    length, last = server.read(f"{table}.{form}")
                    taken = time.perf_counter() - begun
                assert length > count and last.endswith(b"PAR1" if form == "parquet" else b"\n")
                flat &= peak[0] - idle <= LIMIT_MB
                print(
                    f"{table}.{form}: {count} rows, {length / 1e6:.0f} MB in {taken:.1f} s, {taken / seconds:.1f} × a "
                    f"bare cursor; peak {peak[0]:.0f} MB, {peak[0] - idle:+.0f} (wished: within {LIMIT_MB})",
                    flush=True,
                )
    return flat


def measure_release(environment: dict[str, str]) -> None:
    """The most that making a release holds: in a process of its own, standings first."""
    for command in ("refresh_standings", "make_release"):
        begun = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "manage.py", command], env=environment, stdout=subprocess.DEVNULL
        )
        with watched(process.pid) as peak:
            _, status, _ = os.wait4(process.pid, 0)
        print(
            f"{command}: exit {status}, {time.perf_counter() - begun:.0f} s, peak {peak[0]:.0f} MB",
            flush=True,
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--tables", nargs="+", choices=list(BARE), default=list(BARE))
    parser.add_argument(
        "--release", action="store_true", help="also the memory of refresh_standings and make_release"
    )
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, database_of_its_own(folder, DATABASE) as address:
        own = {"DATABASE_URL": address, "CLEANSTOP_DATA_DIR": folder, "CLEANSTOP_API_READS": "1000000"}
        os.environ |= own | {"DJANGO_SETTINGS_MODULE": "registry.project.settings"}
        import django

        django.setup()
        from django.core.management import call_command
        from django.db import connection

        call_command("migrate", verbosity=0)
        fill(asked.readings)
        print(f"{connection.vendor}: {asked.readings} readings on {LENSES} lenses", flush=True)
        flat = measure(dict(os.environ), asked.readings, asked.tables)
        if asked.release:
            measure_release(dict(os.environ))
        connection.close()
    raise SystemExit(0 if flat else 1)


if __name__ == "__main__":
    main()
