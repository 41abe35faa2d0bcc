"""Builds the demo world through the same services that pages and programs use."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import transaction
from django_tasks_db.models import DBTaskResult

from fixtures_demo.behaviour import WORLD, read_behaviours
from fixtures_demo.evidence import grades_by_eye, report_data
from fixtures_demo.interests import keep_interests
from fixtures_demo.photographs import Camera, frame_bytes
from fixtures_demo.plans import Person, PlannedLens, PlannedReport, plan_lens, read_people
from registry.accounts.models import Account
from registry.accounts.services import register
from registry.errors import Conflict, Problem
from registry.gear.imports import import_gear
from registry.gear.models import Adapter, Body, Filter, Lens, Teleconverter
from registry.ledger.models import Event
from registry.ledger.retries import reap_stale_tasks
from registry.ledger.services import record
from registry.ledger.worker import drain_tasks
from registry.reports import services
from registry.reports.models import Report
from registry.standings.services import refresh_all, renew_priors

KINDS = ("makers", "mounts", "lenses", "bodies", "filters", "teleconverters", "adapters")
BEGUN, TOLD, COMPLETE = "demo.begun", "demo.evening-told", "demo.complete"
# A forked child would share this process's connection to PostgreSQL, and end it with itself.
FRESH_PROCESS = get_context("spawn")
# Enough work in the queue to keep two workers busy to the end of a sweep.
EVENINGS_AT_ONCE = 8
PASSWORD = "marsh-at-low-tide"
FIRST_MEETING, BETWEEN_NEW_MEMBERS = datetime(2024, 9, 1, 19, tzinfo=UTC), timedelta(days=6)
SHOWN_ACCOUNTS = {"contributor": "samphire", "moderator": "avocet", "steward": "lyme-grass"}


def email_of(name: str) -> str:
    return f"{name}@saltmarsh.example"


def is_complete() -> bool:
    return Event.objects.filter(name=COMPLETE).exists()


def refuse_foreign_data() -> None:
    """Raises Conflict when the database holds anything that the demo did not bring."""
    if Event.objects.filter(name=BEGUN).exists():
        return
    found = [kind._meta.verbose_name_plural for kind in (Account, Lens, Report) if kind.objects.exists()]
    if found:
        raise Conflict(
            Problem(
                code="database-in-use",
                value=", ".join(map(str, found)),
                says=f"This database already holds {' and '.join(map(str, found))} of its own.",
                remedy="The demo world only goes into an empty one: point CLEANSTOP_DATA_DIR elsewhere.",
            )
        )


def begin() -> None:
    """Gear and people; harmless when they are there."""
    refuse_foreign_data()
    with transaction.atomic():
        if not Event.objects.filter(name=BEGUN).exists():
            record(BEGUN, actor=None, subject_kind="demo", subject_id="saltmarsh", data={})
        for kind in KINDS:
            outcome = import_gear(kind, WORLD / f"{kind}.csv")
            if outcome.problems:
                line, problem = outcome.problems[0]
                raise AssertionError(f"{kind}.csv, line {line}: {problem}")
        for place, person in enumerate(_people()):
            if not Account.objects.filter(name=person.name).exists():
                account = register(
                    email=email_of(person.name), name=person.name, password=PASSWORD, role=person.role
                )
                # The circle grew over a winter; all at once would look like one person's accounts.
                account.joined_at = FIRST_MEETING + place * BETWEEN_NEW_MEMBERS
                account.save(update_fields=["joined_at"])
        Account.objects.filter(role="steward").update(is_staff=True, is_superuser=True)


def plans() -> list[PlannedReport]:
    """Every evening, in the order in which they were held."""
    people = _people()
    lenses = {lens.slug: _planned(lens) for lens in Lens.objects.prefetch_related("mounts")}
    told = [
        plan
        for behaviour in read_behaviours()
        for plan in plan_lens(lenses[behaviour.lens], behaviour, people)
    ]
    return sorted(told, key=lambda plan: (plan.day, plan.lens.slug, plan.number))


@dataclass(frozen=True)
class _Evening:
    plan: PlannedReport
    frames: list[tuple[str, Future]]


def tell(planned: list[PlannedReport]) -> Iterator[PlannedReport]:
    """File each evening that is not yet told, measure its frames, and yield it."""
    told = set(Event.objects.filter(name=TOLD).values_list("data__key", flat=True))
    gear = {
        item.name: item.slug for kind in (Body, Filter, Teleconverter, Adapter) for item in kind.objects.all()
    }
    cameras = {
        body.name: Camera(body.maker.name, body.exif_model, body.half_diagonal_mm)
        for body in Body.objects.select_related("maker")
    }
    names = {lens.slug: str(lens) for lens in Lens.objects.select_related("maker")}
    authors = {account.name: account for account in Account.objects.all()}
    waiting = [plan for plan in planned if _key(plan) not in told]
    with ProcessPoolExecutor(max_workers=1, mp_context=FRESH_PROCESS) as darkroom:
        evenings = [
            _Evening(plan, list(_expose(darkroom, plan, cameras, names[plan.lens.slug]))) for plan in waiting
        ]
        for count, evening in enumerate(evenings, start=1):
            _file(evening, authors[evening.plan.author], gear)
            if (
                count % EVENINGS_AT_ONCE == 0
                or evening is evenings[-1]
                or evening.plan.scene_instead_of_target
            ):
                settle()
            _grade_refused_frames(evening.plan, authors[evening.plan.author])
            yield evening.plan
    for plan in planned:
        if _key(plan) in told:
            yield plan


@contextmanager
def second_worker() -> Iterator[None]:
    """A task worker in a process of its own while the demo is told: measuring fills two cores then."""
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "run_worker", "--interval", "0.05"]
    worker = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield
    finally:
        worker.terminate()
        worker.wait()


def settle() -> None:
    """Run what is queued, and wait for what another worker has taken."""
    while drain_tasks() or DBTaskResult.objects.running().exists():
        reap_stale_tasks()
        time.sleep(0.01)


def complete() -> None:
    """Settle the priors over the whole catalogue, state every standing under them, keep what people keep for
    themselves, and say that all is there."""
    settle()
    renew_priors()
    refresh_all()
    settle()
    keep_interests()
    with transaction.atomic():
        record(COMPLETE, actor=None, subject_kind="demo", subject_id="saltmarsh", data={})


def _people() -> list[Person]:
    return read_people(dict(Body.objects.values_list("name", "mount__name")))


def _planned(lens: Lens) -> PlannedLens:
    return PlannedLens(
        slug=lens.slug,
        mounts=tuple(mount.name for mount in lens.mounts.all()),
        focal_min_mm=lens.focal_min_mm,
        focal_max_mm=lens.focal_max_mm,
        widest_f=lens.widest_f,
        widest_f_tele=lens.widest_f_tele,
        narrowest_f=lens.narrowest_f,
    )


def _key(plan: PlannedReport) -> str:
    return f"{plan.lens.slug}/{plan.number}"


def _expose(
    darkroom: ProcessPoolExecutor, plan: PlannedReport, cameras: dict[str, Camera], lens: str
) -> Iterator[tuple[str, Future]]:
    if plan.basis != "measured":
        return
    index = 0
    for focal in plan.focal_lengths:
        for stop in plan.lens.stops_at(focal):
            index += 1
            name = f"{plan.author.upper()[:4]}{index:04d}.JPG"
            yield name, darkroom.submit(frame_bytes, plan, focal, stop, index, cameras[plan.rig.body], lens)


def _file(evening: _Evening, author: Account, gear: dict[str, str]) -> None:
    plan = evening.plan
    files = {name: ContentFile(future.result(), name=name) for name, future in evening.frames}
    with transaction.atomic():
        report = services.file_report(
            author=author,
            data=report_data(plan, gear),
            files=files,
            submit=not plan.scene_instead_of_target,
        )
        record(
            TOLD,
            actor=author,
            subject_kind="report",
            subject_id=report.public_id,
            data={"key": _key(plan)},
        )


def _grade_refused_frames(plan: PlannedReport, author: Account) -> None:
    """Someone photographed the marsh instead of a target: measuring refuses, so they grade by eye and submit."""
    if not plan.scene_instead_of_target:
        return
    report = Report.objects.filter(author=author, lens__slug=plan.lens.slug).latest("id")
    grades = grades_by_eye(plan, plan.focal_lengths[0])
    for image in report.images.all():
        services.correct_image(image=image, by=author, grade=grades[image.f_number])
    services.submit_report(report=report, by=author)
    settle()
