"""Making a release: a snapshot, written, proven, and put in its permanent place."""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Callable
from itertools import islice
from pathlib import Path

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from registry.consensus.constants import METHOD_VERSION
from registry.errors import Conflict, InvalidInput, Problem
from registry.ledger.services import record
from registry.publishing.comparing import changes_between, changes_in_words
from registry.publishing.models import Release, ReleasedStanding
from registry.publishing.package import Edition, checksums, citation, data_package, licences, path_of
from registry.publishing.queries import folder_of, latest_release
from registry.publishing.rows import rows_of, standings_resting_on_reports
from registry.publishing.tables import TABLES
from registry.publishing.verifying import Verified, check_standings, sha256_of
from registry.publishing.writing import as_csv, write_parquet
from registry.standings.models import PriorsEdition, Standing

STANDINGS_AT_ONCE = 500
VERSION = re.compile(r"20\d\d\.[1-9]\d{0,3}")
# Fields of a standing that a release freezes for pages that are pinned to it.
FROZEN = tuple(
    field.name
    for field in Standing._meta.concrete_fields
    if field.name
    not in (
        "id",
        "lens",
        "teleconverter",
        "adapter",
        "fingerprint",
        "priors",
        "computed_at",
        "cut_on_group",
        "focal_zone",
    )
)


def make_release(version: str | None = None, *, tell: Callable[[str], None] = lambda said: None) -> Release:
    """Freeze the open data as it stands. version: such as 2026.1; the year's next unless given. tell: progress.

    Everything is read in one snapshot, written beside its final place, proven there (every standing computed anew
    from the written evidence), and moved. Raises Conflict for a version that exists, or when the standings are not up
    to the evidence; nothing is left behind then.
    """
    root = Path(settings.RELEASES_ROOT)
    root.mkdir(parents=True, exist_ok=True)
    making = Path(tempfile.mkdtemp(prefix=".making-", dir=root))
    placed: Path | None = None
    try:
        with transaction.atomic():
            _one_snapshot()
            version = _checked(version or _next_version())
            _refuse_old_standings()
            release = _frozen(version, making, tell)
            placed = folder_of(version)
            making.chmod(0o755)
            making.rename(placed)
            record(
                "release.made", actor=None, subject_kind="release", subject_id=version, data=release.counts
            )
    except BaseException:
        shutil.rmtree(placed or making, ignore_errors=True)
        raise
    return release


def _frozen(version: str, folder: Path, tell: Callable[[str], None]) -> Release:
    edition = Edition(version, timezone.now(), METHOD_VERSION, f"{settings.PUBLIC_URL}/releases/{version}/")
    counts, files = _write_tables(folder, tell)
    _write_priors(folder)
    tell("computing the standings anew from what was written")
    proof = Verified()
    check_standings(folder, proof)
    if not proof.holds:
        raise Conflict(_not_up_to_date(proof))
    before = latest_release()
    changes = changes_between(folder_of(before.version) if before else None, folder, counts)
    _write_texts(folder, edition, changes, files)
    release = Release.objects.create(
        version=version,
        made_at=edition.made_at,
        method_version=METHOD_VERSION,
        counts=counts,
        files=files,
        changes=changes,
    )
    _freeze_standings(release)
    return release


def _write_tables(folder: Path, tell: Callable[[str], None]) -> tuple[dict[str, int], dict[str, dict]]:
    counts, files = {}, {}
    for name, table in TABLES.items():
        tell(f"writing {name}")
        csv, parquet = (folder / path_of(table, suffix) for suffix in ("csv", "parquet"))
        csv.parent.mkdir(exist_ok=True)
        counts[name] = write_parquet(table, rows_of(table), parquet)
        with csv.open("wb") as stream:
            stream.writelines(as_csv(table, rows_of(table)))
        files |= {path_of(table, file.suffix[1:]): _told(file, counts[name]) for file in (csv, parquet)}
    return counts, files


def _write_priors(folder: Path) -> None:
    numbers = set(standings_resting_on_reports().values_list("priors__number", flat=True))
    editions = PriorsEdition.objects.filter(number__in=numbers).order_by("number")
    content = list(editions.values("number", "method_version", "content"))
    (folder / "priors.json").write_text(json.dumps(content, indent=1, sort_keys=True) + "\n")


def _write_texts(folder: Path, edition: Edition, changes: dict, files: dict[str, dict]) -> None:
    cited = citation(edition)
    texts = {
        "datapackage.json": data_package(edition, files),
        "CHANGES.md": changes_in_words(edition.version, changes),
        "LICENCES.md": licences(),
        "CITATION.cff": cited["cff"],
        "CITATION.bib": cited["bibtex"],
        "CITATION.txt": cited["text"] + "\n",
    }
    for name, text in texts.items():
        (folder / name).write_text(text)
    files |= {name: _told(folder / name) for name in ("priors.json", *texts)}
    (folder / "SHA256SUMS").write_text(checksums(files))
    files["SHA256SUMS"] = _told(folder / "SHA256SUMS")


def _told(file: Path, rows: int | None = None) -> dict:
    told = {"sha256": sha256_of(file), "bytes": file.stat().st_size}
    return told if rows is None else told | {"rows": rows}


def _freeze_standings(release: Release) -> None:
    rows = standings_resting_on_reports().iterator(chunk_size=STANDINGS_AT_ONCE)
    while batch := [_frozen_standing(release, row) for row in islice(rows, STANDINGS_AT_ONCE)]:
        ReleasedStanding.objects.bulk_create(batch)


def _frozen_standing(release: Release, row: Standing) -> ReleasedStanding:
    return ReleasedStanding(
        release=release,
        lens_slug=row.lens.slug,
        teleconverter=row.teleconverter.slug if row.teleconverter else "",
        adapter=row.adapter.slug if row.adapter else "",
        cut_on_group=row.cut_on_group,
        focal_zone=row.focal_zone,
        content={name: getattr(row, name) for name in FROZEN},
    )


def _one_snapshot() -> None:
    """All tables as they are at one moment, whatever is written meanwhile. SQLite's transactions are so already."""
    if connection.vendor == "postgresql" and len(connection.savepoint_ids) == 0:
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")


def _next_version() -> str:
    year = timezone.now().year
    taken = Release.objects.filter(version__startswith=f"{year}.").values_list("version", flat=True)
    return f"{year}.{max((int(version.partition('.')[2]) for version in taken), default=0) + 1}"


def _checked(version: str) -> str:
    if not VERSION.fullmatch(version):
        raise InvalidInput(
            Problem(
                code="release-version",
                field="version",
                value=version,
                says=f"“{version}” is no version of a release.",
                remedy="Give year and number, such as 2026.1, or leave it out for the next.",
            )
        )
    if Release.objects.filter(version=version).exists() or folder_of(version).exists():
        raise Conflict(
            Problem(
                code="release-exists",
                field="version",
                value=version,
                says=f"Release {version} exists, and a release never changes.",
                remedy="Leave the version out for the next number.",
            )
        )
    return version


def _refuse_old_standings() -> None:
    old = Standing.objects.filter(n_reports__gt=0).exclude(method_version=METHOD_VERSION).count()
    if old:
        raise Conflict(
            Problem(
                code="standings-of-another-method",
                says=f"{old} standings were computed by another version of the method than {METHOD_VERSION}.",
                remedy="Run manage.py refresh_standings first.",
            )
        )


def _not_up_to_date(proof: Verified) -> Problem:
    return Problem(
        code="standings-not-up-to-date",
        says=f"The standings don't follow from the evidence as it is now: {proof.differences[0]}.",
        remedy="Let the task worker finish, or run manage.py refresh_standings, then make the release.",
    )
