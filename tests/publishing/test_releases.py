"""A release is a frozen edition of the open data that anyone can check: its files, and its standings' digits."""

import csv
import json
import shutil

import pyarrow
import pyarrow.parquet
import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction
from frictionless import validate

from registry.errors import Conflict, InvalidInput, NotFound, Unreadable
from registry.gear.models import FactSource
from registry.ledger.models import Event
from registry.publishing import stored
from registry.publishing.comparing import table_rows
from registry.publishing.forms_compared import first_difference
from registry.publishing.models import Release, ReleasedStanding
from registry.publishing.package import Edition, citation
from registry.publishing.queries import folder_of, release_by_version, released_rows
from registry.publishing.services import make_release
from registry.publishing.tables import TABLES
from registry.publishing.verifying import sha256_of, verify_release
from registry.reports.services import set_aside
from registry.standings.models import Standing
from registry.standings.rules import LightPath
from registry.standings.services.refresh import refresh_lens
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ClaimFactory, ReadingFactory, ReportFactory, SweepFactory

pytestmark = pytest.mark.django_db


COUNTS = {"state": "submitted", "submitted_at": "2026-01-02T10:00Z"}


@pytest.fixture(autouse=True)
def root(settings, tmp_path):
    settings.RELEASES_ROOT = tmp_path / "releases"
    settings.PUBLIC_URL = "https://registry.example"
    return settings.RELEASES_ROOT


@pytest.fixture
def lens():
    """A lens that three testers measured and a published source tells of."""
    lens = LensFactory(widest_f=2.8, narrowest_f=16)
    for place in range(3):
        sweep = SweepFactory(report=ReportFactory(lens=lens, **COUNTS), focal_length_mm=lens.focal_min_mm)
        for f_number, excess in ((2.8, 0.0), (5.6, 0.02 + place / 100), (11, 0.3)):
            ReadingFactory(sweep=sweep, f_number=f_number, excess_ev=excess, excess_se=0.02, tint_rg=0.12)
    ClaimFactory(report=ReportFactory(lens=lens, **COUNTS), says="clean_to", f_number=8)
    refresh_lens(lens)
    return lens


def rows(version, name):
    return list(table_rows(folder_of(version), name))


def test_a_release_holds_the_evidence_and_the_standings_that_follow_from_it(lens):
    made = make_release("2026.1")
    assert made.counts["reports"] == 4 and made.counts["readings"] == 9
    outcome = verify_release(folder_of("2026.1"))
    assert outcome.holds, outcome.differences
    assert outcome.standings == Standing.objects.filter(n_reports__gt=0).count() > 0


@pytest.mark.parametrize("lenses_at_once", [1, 2, 250])
def test_however_few_lenses_are_held_at_once_every_standing_is_computed(lens, monkeypatch, lenses_at_once):
    for _ in range(3):
        other = LensFactory()
        for _ in range(2):
            sweep = SweepFactory(report=ReportFactory(lens=other, **COUNTS), focal_length_mm=35)
            ReadingFactory(sweep=sweep, f_number=5.6, excess_ev=0.3, excess_se=0.02, tint_rg=0.12)
        refresh_lens(other)
    make_release("2026.1")
    monkeypatch.setattr(stored, "LENSES_AT_ONCE", lenses_at_once)
    assert len(list(stored._lenses_at_once(folder_of("2026.1")))) == -(-4 // lenses_at_once)
    outcome = verify_release(folder_of("2026.1"))
    assert outcome.holds, outcome.differences
    assert outcome.standings == Standing.objects.filter(n_reports__gt=0).count()


def test_a_standing_that_rests_on_nothing_is_named(lens):
    make_release("2026.1")
    folder = folder_of("2026.1")
    for name in ("light_paths", "evidence", "readings"):
        file = folder / f"data/{name}.parquet"
        pyarrow.parquet.write_table(pyarrow.parquet.read_table(file).slice(0, 0), file)
    assert f"{lens.slug}: not among the light paths" in verify_release(folder).differences


def test_its_description_is_a_data_package(lens):
    # Frictionless Data's own reader checks the package, the hashes, and every cell of the CSV files by its schema.
    make_release("2026.1")
    report = validate(str(folder_of("2026.1") / "datapackage.json"))
    assert report.valid, [(task.name, task.errors) for task in report.tasks if task.errors]
    assert len(report.tasks) == 2 * len(TABLES)


def test_every_field_is_described_with_its_unit_where_it_has_one(lens):
    make_release("2026.1")
    package = json.loads((folder_of("2026.1") / "datapackage.json").read_text())
    fields = {
        field["name"]: field
        for resource in package["resources"]
        for field in resource.get("schema", {}).get("fields", [])
    }
    assert all(field["description"] for field in fields.values())
    assert {fields[name]["unit"] for name in ("cut_on_nm", "excess_ev", "mass_g")} == {"nm", "EV", "g"}


def test_both_forms_of_a_table_say_the_same(lens):
    make_release("2026.1")
    with (folder_of("2026.1") / "data/readings.csv").open(newline="") as file:
        written = [float(row["excess_ev"]) for row in csv.DictReader(file)]
    assert written == [row["excess_ev"] for row in rows("2026.1", "readings")]


def test_the_same_data_give_the_same_files(lens):
    one, two = make_release("2026.1"), make_release("2026.2")
    tables = [path for path in one.files if path.endswith((".csv", ".parquet", "priors.json"))]
    assert len(tables) == 2 * len(TABLES) + 1
    assert [one.files[path]["sha256"] for path in tables] == [two.files[path]["sha256"] for path in tables]


def test_checksums_are_of_the_files(lens):
    made = make_release("2026.1")
    lines = (folder_of("2026.1") / "SHA256SUMS").read_text().splitlines()
    listed = dict(reversed(line.split("  ")) for line in lines)
    assert set(listed) == set(made.files) - {"SHA256SUMS"}
    assert all(sha256_of(folder_of("2026.1") / path) == digest for path, digest in listed.items())


def test_a_changed_file_is_named(lens):
    make_release("2026.1")
    file = folder_of("2026.1") / "data/readings.csv"
    file.write_bytes(file.read_bytes().replace(b"0.3,", b"0.2,", 1))
    (difference,) = verify_release(folder_of("2026.1")).differences
    assert difference.startswith("data/readings.csv: the file is not the one that was published")
    assert difference.endswith("excess_ev: “0.2” in the CSV, “0.3” in the Parquet file")


def test_a_changed_digit_of_the_evidence_is_named_with_the_standings_that_it_changes(lens):
    """Changed in the form that standings are computed from, with everything else left as it was."""
    made = make_release("2026.1")
    path = "data/readings.parquet"
    table = pyarrow.parquet.read_table(folder_of("2026.1") / path)
    column = table.schema.get_field_index("excess_ev")
    changed = [0.05 if value == 0.3 else value for value in table.column("excess_ev").to_pylist()]
    table = table.set_column(column, table.schema.field(column), pyarrow.array(changed, pyarrow.float64()))
    pyarrow.parquet.write_table(table, folder_of("2026.1") / path)
    first, *rest = verify_release(folder_of("2026.1")).differences
    assert first.startswith(f"{path}: the file is not the one that was published")
    assert "“0.3” in the CSV, “0.05” in the Parquet file" in first
    assert any(lens.slug in said and "in the release and" in said for said in rest)
    assert made.counts["readings"] == 9


def test_no_form_of_any_table_says_something_else(lens):
    made = make_release("2026.1")
    assert [first_difference(folder_of("2026.1"), path) for path in made.files] == [None] * len(made.files)


def test_a_missing_file_is_named(lens):
    make_release("2026.1")
    (folder_of("2026.1") / "data/claims.csv").unlink(missing_ok=True)
    (folder_of("2026.1") / "data/lenses.csv").unlink()
    assert "data/lenses.csv: the file is missing" in verify_release(folder_of("2026.1")).differences


def test_standings_that_do_not_follow_from_the_evidence_are_not_released(lens, root):
    Standing.objects.filter(n_reports__gt=0).update(n_independent=99)
    with pytest.raises(Conflict, match="n_independent is 99"):
        make_release("2026.1")
    assert not Release.objects.exists()
    assert list(root.iterdir()) == [], "nothing is left behind"


def test_standings_of_an_older_method_are_not_released(lens):
    Standing.objects.update(method_version="1999.1")
    with pytest.raises(Conflict, match="refresh_standings"):
        make_release()


def test_a_release_of_another_method_says_which_program_it_needs(lens, monkeypatch):
    make_release("2026.1")
    monkeypatch.setattr("registry.publishing.verifying.METHOD_VERSION", "2099.1")
    with pytest.raises(Unreadable, match=r"this program is method 2099\.1"):
        verify_release(folder_of("2026.1"))


def test_a_folder_that_is_no_release_is_refused(tmp_path):
    with pytest.raises(Unreadable, match="holds no release"):
        verify_release(tmp_path)


def test_a_set_aside_report_is_listed_with_its_reason_and_is_no_evidence(lens):
    report = lens.reports.order_by("pk").first()
    set_aside(report=report, by=AccountFactory(moderator=True), reason="A scene, no target.")
    refresh_lens(lens)
    make_release("2026.1")
    listed = {row["id"]: row for row in rows("2026.1", "reports")}
    assert listed[report.public_id]["state"] == "set-aside"
    assert listed[report.public_id]["state_reason"] == "A scene, no target."
    assert report.public_id not in {row["report"] for row in rows("2026.1", "evidence")}
    assert verify_release(folder_of("2026.1")).holds


def test_drafts_and_what_is_private_are_never_released(lens):
    draft = ReportFactory(lens=lens, place="My garden")
    make_release("2026.1")
    assert draft.public_id not in {row["id"] for row in rows("2026.1", "reports")}
    everything = b"".join(file.read_bytes() for file in folder_of("2026.1").rglob("*.csv"))
    assert b"My garden" not in everything and b"@" not in everything.replace(b"@%g" % lens.focal_min_mm, b"")


def test_facts_under_another_licence_stand_apart_with_it(lens):
    FactSource.objects.create(
        gear_kind="lens",
        gear_slug=lens.slug,
        fact="widest_f",
        value="2.8",
        source="an open set, x.xml",
        licence="CC BY-SA 3.0",
    )
    make_release("2026.1")
    assert lens.slug not in {row["slug"] for row in rows("2026.1", "lenses")}
    (apart,) = rows("2026.1", "lenses_other_licence")
    assert (apart["slug"], apart["licence"], apart["source"]) == (
        lens.slug,
        "CC BY-SA 3.0",
        "an open set, x.xml",
    )


def test_a_release_tells_what_changed_since_the_last(lens):
    first = make_release("2026.1")
    assert first.changes["first"]
    report = lens.reports.order_by("pk").first()
    set_aside(report=report, by=AccountFactory(moderator=True), reason="A scene, no target.")
    other = LensFactory()
    refresh_lens(lens)
    changes = make_release("2026.2").changes
    assert changes["reports"] == {"new": [], "set_aside": [report.public_id], "withdrawn": []}
    assert changes["lenses"]["new"] == [other.slug]
    assert "reports set aside: 1" in (folder_of("2026.2") / "CHANGES.md").read_text()


def test_versions_count_up_within_a_year_and_are_never_used_twice(lens):
    assert make_release().version.endswith(".1")
    assert make_release().version.endswith(".2")
    with pytest.raises(Conflict, match="never changes"):
        make_release(Release.objects.earliest().version)
    with pytest.raises(InvalidInput):
        make_release("../etc")


def test_the_database_refuses_to_change_a_release(lens):
    make_release("2026.1")
    for model in (Release, ReleasedStanding):
        with pytest.raises(DatabaseError, match="never changes"), transaction.atomic():
            model.objects.update(**({"version": "2027.1"} if model is Release else {"lens_slug": "x"}))


def test_a_pinned_lens_says_what_it_said_then(lens):
    release = make_release("2026.1")
    then = {row.focal_zone: row.words for row in Standing.objects.filter(n_reports__gt=0)}
    for report in lens.reports.all():
        set_aside(report=report, by=AccountFactory(moderator=True), reason="A scene, no target.")
    refresh_lens(lens)
    assert {row.focal_zone: row.words for row in released_rows(release, LightPath(lens))} == then


def test_making_one_is_an_event(lens):
    make_release("2026.1")
    assert Event.objects.get(name="release.made").subject_id == "2026.1"


def test_an_unknown_release_is_told_the_latest(lens):
    make_release("2026.1")
    with pytest.raises(NotFound, match=r"The latest is 2026\.1"):
        release_by_version("2019.1")


def test_the_commands_make_and_verify(lens, capsys, tmp_path):
    call_command("make_release", "2026.1")
    call_command("verify_release", "2026.1")
    copied = tmp_path / "copied"
    shutil.copytree(folder_of("2026.1"), copied)
    call_command("verify_release", str(copied))
    assert capsys.readouterr().out.count("with the same digits") == 2
    (copied / "data/lenses.csv").write_text("")
    with pytest.raises(CommandError, match="does not hold"):
        call_command("verify_release", str(copied))


def test_citations_name_the_version_and_its_address():
    from django.utils import timezone

    edition = Edition("2026.1", timezone.now(), "2026.2", "https://registry.example/releases/2026.1/")
    cited = citation(edition)
    for form in ("text", "bibtex", "cff"):
        assert "2026.1" in cited[form] and edition.address in cited[form]
    # The Citation File Format 1.2.0 requires these keys (its schema guide, "Valid keys").
    keys = {line.partition(":")[0] for line in cited["cff"].splitlines()}
    assert {"cff-version", "message", "title", "authors"} <= keys
    assert cited["bibtex"].count("{") == cited["bibtex"].count("}")
