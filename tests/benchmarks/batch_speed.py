"""How fast reports come in by the thousand, against a bare COPY of the very rows that they became.

The body is read from a file through the production's WSGI application, checked, written, and answered line by line;
then the rows of every table are taken out, the tables emptied, and the same rows copied back into them on the same
server in one transaction. Both are done in turn; first it is checked that every line was filed and the chain of events
holds. Rates are compared by the clock, and by the processor seconds of this process and the server's for it together,
which a busy machine disturbs less. Memory is the peak of this process while it reads bodies of different lengths.

Run: DATABASE_URL=postgres://… python -m tests.benchmarks.batch_speed [--reports 10000] [--rounds 3]
A database of its own is made on that server, and removed at the end.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # settings come first
    from django.core.handlers.wsgi import WSGIHandler

MARKS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16)
LENSES = 40
WISHED = 0.5
TABLES = ("reports_report", "reports_sweep", "reports_reading", "reports_importedreport", "ledger_event")
FIRST, THEN = 2_000, 20_000  # lines of the bodies whose peaks of memory are compared


def prepare() -> tuple[str, list[str], str]:
    """Gear and an account in an empty database: a token, the lenses' slugs and the body's."""
    from registry.accounts.services import issue_token
    from tests.factories import AccountFactory, BodyFactory, LensFactory

    lenses = [
        LensFactory(name=f"Dune {count} mm f/1.4", widest_f=1.4).slug for count in range(20, 20 + LENSES)
    ]
    _, token = issue_token(account=AccountFactory(), name="bench", scopes=("read", "submit"))
    return token, lenses, BodyFactory().slug


def write_body(path: Path, count: int, lenses: list[str], body: str, evening: str) -> None:
    with path.open("w") as file:
        for number in range(count):
            readings = [
                {"f_number": mark, "grade": max(0, (number + place) % 5 - 1)}
                for place, mark in enumerate(MARKS)
            ]
            report = {
                "key": f"{evening} {number}",
                "lens": lenses[number % LENSES],
                "basis": "graded",
                "rig": {"body": body, "conversion": "long-pass", "cut_on_nm": 720},
                "copy": {"label": "my copy"},
                "target": "overcast sky",
                "shot_on": "2024-06-21",
                "notes": f"evening {number}",
                "sweeps": [{"readings": readings}],
                "submit": True,
            }
            file.write(json.dumps(report) + "\n")


@cache
def application() -> WSGIHandler:
    from registry.project.wsgi import application

    return application


def file_body(path: Path, token: str) -> list[int]:
    """Send a body through the application; the status of each line."""
    from django.test.client import RequestFactory

    with path.open("rb") as body:
        environ = RequestFactory().generic("POST", "/api/v1/reports/batch/").environ | {
            "CONTENT_TYPE": "application/x-ndjson",
            "CONTENT_LENGTH": str(path.stat().st_size),
            "HTTP_AUTHORIZATION": f"Token {token}",
            "SERVER_NAME": "localhost",
            "wsgi.input": body,
        }
        statuses, rest = [], b""
        answer = application()(environ, lambda status, headers: None)
        for chunk in answer:
            *lines, rest = (rest + chunk).split(b"\n")
            statuses += [json.loads(line)["status"] for line in lines]
        answer.close()
    return statuses


@dataclass(frozen=True)
class Spent:
    """Seconds by the clock, and of the processor: here and in the server's process for this connection."""

    clock: float
    processor: float


def spent(act: Callable[[], Any]) -> tuple[Spent, Any]:
    _checkpoint()
    server = _server_process()
    clock, processor = time.perf_counter(), time.process_time() + _seconds_of(server)
    result = act()
    return Spent(time.perf_counter() - clock, time.process_time() + _seconds_of(server) - processor), result


def timed_round(path: Path, count: int, token: str) -> tuple[Spent, Spent]:
    """What filing a body takes, and what a bare COPY of what it became."""
    from registry.ledger.services import verify

    filed, statuses = spent(lambda: file_body(path, token))
    assert statuses == [201] * count, sorted(set(statuses))
    assert set(file_body(path, token)) == {200}, "the same lines again file nothing"
    assert verify() == []
    rows = {table: _taken_out(table) for table in TABLES}
    _empty()
    copied, _ = spent(lambda: _put_back(rows))
    _empty()
    return filed, copied


def _server_process() -> int:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        return cursor.fetchone()[0]


def _seconds_of(process: int) -> float:
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _taken_out(table: str) -> bytes:
    from django.db import connection

    with connection.cursor() as cursor, cursor.copy(f"COPY {table} TO STDOUT") as copy:
        return b"".join(bytes(block) for block in copy)


def _put_back(rows: dict[str, bytes]) -> None:
    from django.db import connection, transaction

    with transaction.atomic(), connection.cursor() as cursor:
        for table, content in rows.items():
            with cursor.copy(f"COPY {table} FROM STDIN") as copy:
                copy.write(content)


def _empty() -> None:
    """Only here, in a database of the bench's own, is the event log ever emptied: by a superuser, past its triggers."""
    from django.db import connection
    from django_tasks_db.models import DBTaskResult

    with connection.cursor() as cursor:
        cursor.execute("SET session_replication_role = replica")
        cursor.execute(f"TRUNCATE {', '.join(TABLES)}, {DBTaskResult._meta.db_table} CASCADE")
        cursor.execute("SET session_replication_role = DEFAULT")


def _checkpoint() -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("CHECKPOINT")
        cursor.execute("VACUUM ANALYZE")


def peak_of(path: Path, token: str) -> float:
    """The most memory, in MB, that this process holds while it files a body."""
    Path("/proc/self/clear_refs").write_text("5")
    file_body(path, token)
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--reports", type=int, default=10_000)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.project.settings")
    import django

    django.setup()
    from django.core.signals import request_finished, request_started
    from django.db import close_old_connections, connection

    for signal in (request_started, request_finished):  # one connection throughout, whose process is counted
        signal.disconnect(close_old_connections)
    if connection.vendor != "postgresql":
        raise SystemExit("Name a PostgreSQL server in DATABASE_URL; COPY is its.")
    name = connection.settings_dict["NAME"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    try:
        with tempfile.TemporaryDirectory() as folder:
            measure(asked.reports, asked.rounds, Path(folder) / "body")
    finally:
        connection.creation.destroy_test_db(name, verbosity=0)


def measure(reports: int, rounds: int, path: Path) -> None:
    token, lenses, body = prepare()
    write_body(path, 200, lenses, body, "to warm up")
    file_body(path, token)
    _empty()
    shares: dict[str, list[float]] = {"clock": [], "processor": []}
    for number in range(rounds):
        write_body(path, reports, lenses, body, f"round {number}")
        filed, copied = timed_round(path, reports, token)
        for by, found in shares.items():
            found.append(getattr(copied, by) / getattr(filed, by))
        print(f"{reports} reports × {len(MARKS)} readings: filed {filed}; bare COPY {copied}")
    for by, found in shares.items():
        print(f"median share of COPY's rate, by {by}: {statistics.median(found):.2f} (wished: {WISHED})")
    peaks = []
    for count in (FIRST, THEN):
        write_body(path, count, lenses, body, f"memory {count}")
        peaks.append(peak_of(path, token))
    print(f"peak memory: {peaks[0]:.0f} MB with {FIRST} lines, {peaks[1]:.0f} MB with {THEN}")


if __name__ == "__main__":
    main()
