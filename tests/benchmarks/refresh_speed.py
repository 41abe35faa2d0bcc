"""What it costs to bring standings up to their evidence, as a multiple of the bare consensus of the same evidence.

Two catalogues of as many reports, of eight readings each by people who state their copies, rigs and filters, are
copied into a database of their own: a wide one (ten reports a lens) and a deep one (five hundred a lens). Of each is
told, in processor seconds a thousand reports: the bare consensus (assessment alone, evidence in memory), a whole
refresh from nothing, a second one that finds everything as it was, and what one more report to one lens costs.
First the standings must be what the consensus says.

Run: python -m tests.benchmarks.refresh_speed [--reports 1000] [--deep 500] [--profile]
On SQLite, or where DATABASE_URL names a PostgreSQL server, in a database of its own there, removed at the end.
"""

from __future__ import annotations

import argparse
import cProfile
import json
import os
import pstats
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime

from tests.own_database import database_of_its_own

WIDE = 10
MARKS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16)
THRESHOLD = 0.10
CUT_ONS, POSITIONS, BODIES = (590, 720, 830), ("front", "rear", "clip-in"), 3
MOST_LINES = 60
ONE_MORE = "one more report, × its lens's own"


def fill(lenses: int, reports_each: int) -> None:
    """Lenses of differing limits with reports by as many people, by sets of rows."""
    from django.db import transaction

    from tests.factories import AccountFactory, BodyFactory, LensFactory

    with transaction.atomic():
        example = LensFactory(name="Dune 35 mm f/1.4", slug="dune-0")
        people = _several(
            AccountFactory(), reports_each + 1, email="someone{}@saltmarsh.example", name="Someone {}"
        )
        lenses = _several(example, lenses, slug="dune-{}", name="Dune {}")
        bodies = [BodyFactory().pk for _ in range(BODIES)]
    for place, lens in enumerate(lenses):
        with transaction.atomic():
            add_reports(lens, people[:reports_each], bodies, random.Random(place))


def _several(example, count: int, **names: str) -> list[int]:
    """Keys of rows like the example, itself the first, named by their number."""
    from registry.identifiers import new_public_id

    model = type(example)
    values = {field.attname: getattr(example, field.attname) for field in model._meta.concrete_fields}
    del values["id"]
    rows = []
    for number in range(1, count):
        own = {name: pattern.format(number) for name, pattern in names.items()}
        own |= {"public_id": new_public_id()} if "public_id" in values else {}
        rows.append(model(**values | own))
    model.objects.bulk_create(rows, batch_size=500)
    return list(model.objects.order_by("pk").values_list("pk", flat=True))[-count:]


def add_reports(lens: int, people: list[int], bodies: list[int], draw: random.Random) -> None:
    """One submitted report by each of these people on one lens, on their own copy, measured or graded."""
    from registry.identifiers import new_public_id
    from registry.reports.models import Basis, Copy, Report, ReportState, Sweep
    from registry.setwise import add_columns, reserve_keys

    count, now = len(people), datetime.now(UTC)
    copies, reports, sweeps = (reserve_keys(model, count) for model in (Copy, Report, Sweep))
    shared = {"public_id": [new_public_id() for _ in people], "created_at": [now] * count}
    _add(Copy, shared | {"id": copies, "lens_id": [lens] * count, "holder_id": people})
    measured = [draw.random() < 0.5 for _ in people]
    _add(
        Report,
        shared
        | {
            "id": reports,
            "lens_id": [lens] * count,
            "author_id": people,
            "copy_id": copies,
            "body_id": draw.choices(bodies, k=count),
            "basis": [Basis.MEASURED if one else Basis.GRADED for one in measured],
            "state": [ReportState.SUBMITTED] * count,
            "cut_on_nm": draw.choices(CUT_ONS, k=count),
            "filter_position": draw.choices(POSITIONS, k=count),
            "updated_at": [now] * count,
            "submitted_at": [now] * count,
        },
    )
    add_columns(Sweep, {"id": sweeps, "report_id": reports, "focal_length_mm": [35.0] * count})
    _add_readings(sweeps, measured, draw)


def _add_readings(sweeps: list[int], measured: list[bool], draw: random.Random) -> None:
    """Excess that doubles with every stop and crosses the threshold at the lens's limit, give or take."""
    from registry.optics.stops import exact_av
    from registry.reports.models import Reading

    usual, spread = draw.gauss(6, 1.5), draw.uniform(0.3, 1)
    rows = []
    for sweep, by_frames in zip(sweeps, measured, strict=True):
        limit = usual + draw.gauss(0, spread)
        for f_number in MARKS:
            av = exact_av(f_number)
            excess = min(THRESHOLD * 2 ** (av - limit), 2) + draw.gauss(0, 0.01)
            grade = sum(excess > bound for bound in (0.05, 0.1, 0.3, 0.7))
            told = (round(excess, 4), 0.01, None) if by_frames else (None, None, grade)
            rows.append((sweep, f_number, av, *told))
    names = ("sweep_id", "f_number", "av", "excess_ev", "excess_se", "grade")
    _add(Reading, dict(zip(names, zip(*rows, strict=True), strict=True)))


def _add(model, columns: dict) -> None:
    """Rows by their columns; what isn't among them as the model fills it in."""
    from registry.setwise import add_columns

    example, count = model(), len(next(iter(columns.values())))
    filled = {
        field.attname: [getattr(example, field.attname)] * count
        for field in model._meta.concrete_fields
        if field.attname not in columns and not field.primary_key
    }
    add_columns(model, filled | columns)


def bare_consensus() -> Callable[[], list]:
    """The assessment of every lens, its evidence in memory already."""
    from registry.consensus.assessment import assess_lens
    from registry.consensus.beliefs import Priors
    from registry.standings.queries.batches import evidence_of_all
    from registry.standings.services import ensure_edition

    priors = Priors.from_dict(ensure_edition().content)
    cases = [
        (
            path.optics(reading.f_number for entry in entries for reading in entry.readings),
            sorted(entries, key=lambda entry: entry.id),
        )
        for path, entries in evidence_of_all()
    ]
    return lambda: [assess_lens(optics, entries, priors) for optics, entries in cases]


def one_more_report() -> Callable[[], object]:
    """A report more by somebody new on the first lens, and the refresh that follows it."""
    from registry.accounts.models import Account
    from registry.gear.models import Body, Lens
    from registry.standings.services import refresh_lens

    lens, newcomer = Lens.objects.order_by("pk").first(), Account.objects.order_by("-pk").first()
    bodies = list(Body.objects.values_list("pk", flat=True))
    add_reports(lens.pk, [newcomer.pk], bodies, random.Random("one more"))
    return lambda: refresh_lens(lens, cause="one more")


def processor_seconds(act: Callable[[], object], profile: bool = False) -> tuple[float, object]:
    watcher = cProfile.Profile() if profile else None
    begun = time.process_time()
    outcome = watcher.runcall(act) if watcher else act()
    taken = time.process_time() - begun
    if watcher:
        pstats.Stats(watcher).sort_stats("cumulative").print_stats(r"registry|django.*execute", MOST_LINES)
    return taken, outcome


def check(assessments: list) -> None:
    """The stored standings are what the consensus says."""
    from registry.standings.models import Standing

    said = sorted((cell.n_independent, cell.limit_av.median) for one in assessments for cell in one.cells)
    stored = Standing.objects.values_list("n_independent", "limit__median")
    assert sorted(stored) == said, "The standings are not what the consensus says; no time counts."


def measure(lenses: int, reports_each: int, profile: bool) -> dict[str, float]:
    from registry.standings.services import refresh_all

    fill(lenses, reports_each)
    bare, assessments = processor_seconds(bare_consensus())
    whole, outcome = processor_seconds(refresh_all, profile)
    check(assessments)
    again, unchanged = processor_seconds(refresh_all)
    assert outcome.written and not unchanged.written
    one, outcome = processor_seconds(one_more_report(), profile)
    assert outcome.written
    return {"bare consensus": bare, "whole refresh": whole, "nothing new": again, ONE_MORE: one}


def measured(lenses: int, reports_each: int, profile: bool) -> dict[str, float]:
    """In a process of its own, whose settings name a database of its own."""
    with (
        tempfile.TemporaryDirectory() as folder,
        database_of_its_own(folder, "cleanstop_refresh_bench") as address,
    ):
        own = {"DATABASE_URL": address, "CLEANSTOP_DATA_DIR": folder, "OPENBLAS_NUM_THREADS": "1"}
        command = [
            sys.executable,
            "-m",
            "tests.benchmarks.refresh_speed",
            "--within",
            str(lenses),
            str(reports_each),
        ]
        told = subprocess.run(
            command + ["--profile"] * profile,
            env=os.environ | own,
            check=True,
            stdout=subprocess.PIPE,
            text=True,
        ).stdout
    said, _, figures = told.rstrip().rpartition("\n")
    if said:
        print(said)
    return json.loads(figures)


def within(lenses: int, reports_each: int, profile: bool) -> None:
    os.environ["DJANGO_SETTINGS_MODULE"] = "registry.project.settings"
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    print(json.dumps(measure(lenses, reports_each, profile)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--reports", type=int, default=1_000, help="in each catalogue")
    parser.add_argument("--deep", type=int, default=500, help="reports on each lens of the deep one")
    parser.add_argument("--profile", action="store_true", help="also where the time goes")
    parser.add_argument("--within", type=int, nargs=2, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.within:
        within(*asked.within, asked.profile)
        return
    print("| catalogue | what | CPU s per 1,000 reports | × bare consensus |\n| --- | --- | --- | --- |")
    for reports_each in (WIDE, asked.deep):
        lenses = asked.reports // reports_each
        figures = measured(lenses, reports_each, asked.profile)
        bare = figures["bare consensus"]
        for what, seconds in figures.items():
            share = bare / lenses if what == ONE_MORE else bare
            per = "" if what == ONE_MORE else f"{seconds / asked.reports * 1_000:.2f}"
            print(
                f"| {lenses} lenses × {reports_each} reports | {what} | {per} | {seconds / share:.2f} |",
                flush=True,
            )


if __name__ == "__main__":
    main()
