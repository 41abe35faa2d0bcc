"""Programs take the open data whole: live exports, and releases with their checksums and frozen standings."""

import csv
import io
import json

import pyarrow.parquet
import pytest

from registry.publishing.services import make_release
from registry.publishing.tables import TABLES
from registry.standings.services.refresh import refresh_lens
from tests.factories import LensFactory, MountFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _place(settings, tmp_path):
    settings.RELEASES_ROOT = tmp_path / "releases"


@pytest.fixture
def lens():
    lens = LensFactory(widest_f=2.8, narrowest_f=16)
    submitted = {"state": "submitted", "submitted_at": "2026-01-02T10:00Z"}
    ReportFactory(lens=lens, grades={2.8: 0, 4: 0, 5.6: 1, 8: 3}, **submitted)
    refresh_lens(lens)
    return lens


def exported(client, name, form):
    answer = client.get(f"/api/v1/exports/{name}.{form}")
    assert answer.status_code == 200, answer.content
    return b"".join(answer.streaming_content)


@pytest.mark.parametrize("name", TABLES)
def test_every_table_comes_in_three_forms_with_the_same_rows(anyone, lens, name):
    read = csv.DictReader(io.StringIO(exported(anyone, name, "csv").decode()))
    rows = list(read)
    assert read.fieldnames == TABLES[name].field_names
    lines = exported(anyone, name, "ndjson").decode().splitlines()
    table = pyarrow.parquet.read_table(io.BytesIO(exported(anyone, name, "parquet")))
    assert len(rows) == len(lines) == table.num_rows
    assert all(list(json.loads(line)) == TABLES[name].field_names for line in lines)
    assert table.column_names == TABLES[name].field_names


def test_a_name_that_looks_like_a_formula_is_none_in_a_spreadsheet(anyone):
    MountFactory(name="=HYPERLINK(1)", slug="odd")
    (row,) = csv.DictReader(io.StringIO(exported(anyone, "mounts", "csv").decode()))
    assert row["name"].startswith("'=")


def test_what_a_client_accepts_does_not_matter_where_the_address_names_the_form(anyone, lens):
    answer = anyone.get("/api/v1/exports/lenses.csv", HTTP_ACCEPT="text/html")
    assert answer.status_code == 200 and answer["Content-Type"].startswith("text/csv")


@pytest.mark.parametrize("path", ["nothing.csv", "lenses.xlsx"])
def test_an_unknown_table_or_form_names_the_known(anyone, path):
    answer = anyone.get(f"/api/v1/exports/{path}")
    assert answer.status_code == 404
    assert answer["Content-Type"] == "application/problem+json"
    assert "Known are" in str(answer.json())


def test_the_tables_are_described_field_by_field(anyone):
    told = {table["name"]: table for table in anyone.get("/api/v1/exports/").json()}
    assert set(told) == set(TABLES)
    excess = next(field for field in told["readings"]["fields"] if field["name"] == "excess_ev")
    assert excess["unit"] == "EV"
    assert told["readings"]["exports"]["csv"] == "/api/v1/exports/readings.csv"


def test_a_release_tells_its_files_with_checksums_and_its_citation(anyone, lens):
    make_release("2026.1")
    (listed,) = anyone.get("/api/v1/releases/").json()["items"]
    read = anyone.get("/api/v1/releases/2026.1/")
    assert read.json() == listed
    assert len(listed["files"]["data/readings.csv"]["sha256"]) == 64
    assert "2026.1" in listed["citation"]["text"]
    assert anyone.get("/api/v1/releases/2026.1/", HTTP_IF_NONE_MATCH=read["ETag"]).status_code == 304


def test_frozen_standings_are_read_lens_by_lens(anyone, lens):
    make_release("2026.1")
    (row,) = anyone.get("/api/v1/releases/2026.1/standings/", {"lens": lens.slug}).json()["items"]
    assert row["standing"]["n_independent"] == 1
    assert anyone.get("/api/v1/releases/2026.1/standings/", {"lens": "another"}).json()["items"] == []


def test_an_unknown_release_is_a_problem_that_names_the_latest(anyone, lens):
    make_release("2026.1")
    answer = anyone.get("/api/v1/releases/2020.1/")
    assert answer.status_code == 404 and "2026.1" in str(answer.json())
