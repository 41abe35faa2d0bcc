"""The open data's pages: releases that can be cited, checked and pinned."""

import json
import re

import pytest
from django.urls import reverse

from registry.publishing.measured import released_excess
from registry.publishing.queries import released_answer
from registry.publishing.services import make_release
from registry.reports.services import set_aside
from registry.standings.services.refresh import refresh_lens
from tests.factories import AccountFactory, LensFactory, TeleconverterFactory
from tests.report_factories import ReadingFactory, ReportFactory, SweepFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _place(settings, tmp_path):
    settings.RELEASES_ROOT = tmp_path / "releases"
    settings.PUBLIC_URL = "https://registry.example"


@pytest.fixture
def lens():
    lens = LensFactory(widest_f=2.8, narrowest_f=16)
    for _ in range(3):
        ReportFactory(
            lens=lens,
            state="submitted",
            submitted_at="2026-01-02T10:00Z",
            grades={2.8: 0, 4: 0, 5.6: 0, 8: 0, 11: 3, 16: 4},
        )
    refresh_lens(lens)
    return lens


@pytest.fixture
def released(lens):
    return make_release("2026.1")


def test_without_a_release_the_page_says_what_to_take_instead(client):
    page = client.get(reverse("open-data")).content.decode()
    assert "No release has been made yet" in page
    assert "/api/v1/exports/readings.csv" in page


def test_the_page_of_the_open_data_cites_the_latest_release(client, released):
    page = client.get(reverse("open-data")).content.decode()
    assert "https://registry.example/releases/2026.1/" in page


def test_a_release_lists_its_tables_with_rows_and_files(client, released):
    page = client.get(reverse("release", args=["2026.1"])).content.decode()
    for path in released.files:
        assert reverse("release-file", args=["2026.1", path]) in page


def test_a_release_is_described_for_programs_as_a_schema_org_dataset(client, released):
    page = client.get(reverse("release", args=["2026.1"])).content.decode()
    told = json.loads(re.search(r'<script type="application/ld\+json"[^>]*>(.*?)</script>', page, re.S)[1])
    # schema.org/Dataset: name, description, license, creator, distribution of DataDownload.
    assert told["@type"] == "Dataset" and told["version"] == "2026.1"
    assert {"name", "description", "license", "creator", "distribution", "datePublished"} <= set(told)
    one = told["distribution"][0]
    assert one["@type"] == "DataDownload" and one["contentUrl"].startswith(
        "https://registry.example/releases/"
    )


def test_a_file_comes_as_it_was_published_and_may_be_kept_for_ever(client, released):
    address = reverse("release-file", args=["2026.1", "data/readings.csv"])
    answer = client.get(address)
    content = b"".join(answer.streaming_content)
    assert len(content) == released.files["data/readings.csv"]["bytes"]
    assert "immutable" in answer["Cache-Control"]
    assert answer["ETag"] == f'"{released.files["data/readings.csv"]["sha256"]}"'
    assert client.get(address, HTTP_IF_NONE_MATCH=answer["ETag"]).status_code == 304


@pytest.mark.parametrize("path", ["data/nothing.csv", "../registry.sqlite3", "data/../../secret-key"])
def test_only_files_of_the_release_are_given(client, released, path):
    assert client.get(f"/releases/2026.1/files/{path}").status_code == 404


def test_an_unknown_release_names_the_latest(client, released):
    answer = client.get(reverse("release", args=["2025.1"]))
    assert answer.status_code == 404 and "2026.1" in answer.content.decode()


def test_a_lens_pinned_to_a_release_says_what_it_said_then(client, lens, released):
    address = reverse("lens-in-release", args=["2026.1", lens.slug])
    before = client.get(address).content.decode()
    assert "lean to f/8" in before and "release 2026.1" in before
    for report in lens.reports.all():
        set_aside(report=report, by=AccountFactory(moderator=True), reason="A scene, no target.")
    refresh_lens(lens)
    assert "lean to f/8" in client.get(address).content.decode()
    assert (
        "lean to f/8"
        not in client.get(reverse("lens", args=[lens.slug])).content.decode().split("history")[0]
    )


def test_the_lens_page_leads_to_the_pinned_one(client, lens, released):
    answer = client.get(reverse("lens", args=[lens.slug]), {"release": "2026.1", "cut_on_nm": "720"})
    assert answer.status_code == 302
    assert answer.url == reverse("lens-in-release", args=["2026.1", lens.slug]) + "?cut_on_nm=720"


@pytest.mark.parametrize("name", ["ladder.svg", "ladder.png"])
def test_a_picture_can_be_pinned_and_prints_its_release(client, lens, released, name):
    address = reverse("published-picture", args=[lens.slug, *name.split(".")])
    answer = client.get(address, {"release": "2026.1"})
    assert answer.status_code == 200
    if name.endswith("svg"):
        assert "release 2026.1" in answer.content.decode()


def test_a_mounts_whole_table_can_be_pinned_and_keeps_saying_what_the_release_said(client, lens, released):
    mount = lens.mounts.first()
    address = reverse("mount-picture", args=[mount.slug, "svg"])
    assert "release=2026.1" in client.get(reverse("mount", args=[mount.slug])).content.decode()
    for report in lens.reports.all():
        set_aside(report=report, by=AccountFactory(moderator=True), reason="a scene, not a target")
    refresh_lens(lens)
    now, then = client.get(address), client.get(address, {"release": "2026.1"})
    assert "No reports" in now.content.decode() and "live data of" in now.content.decode()
    assert "Clean to f/8" in then.content.decode() and "release 2026.1" in then.content.decode()


def test_a_released_table_tells_what_was_known_through_glass(client, lens):
    converter = TeleconverterFactory()
    for _ in range(3):
        ReportFactory(
            lens=lens,
            teleconverter=converter,
            state="submitted",
            submitted_at="2026-01-02T10:00Z",
            grades={2.8: 0, 4: 0, 5.6: 0, 8: 3, 11: 3, 16: 4},
        )
    refresh_lens(lens)
    make_release("2026.2")
    address = reverse("mount-picture", args=[lens.mounts.first().slug, "svg"])
    drawn = client.get(address, {"release": "2026.2"}).content.decode()
    assert f"{lens} with {converter}" in drawn and "Clean to f/5.6" in drawn


def test_a_release_that_is_not_there_is_refused_for_a_table(client, lens, released):
    address = reverse("mount-picture", args=[lens.mounts.first().slug, "svg"])
    answer = client.get(address, {"release": "1999.1"})
    assert answer.status_code == 404 and "The latest is 2026.1" in answer.content.decode()


def test_the_ladders_figures_and_the_excess_can_be_pinned_too(client):
    lens = LensFactory(widest_f=2.8, narrowest_f=16)
    submitted = {"state": "submitted", "submitted_at": "2026-01-02T10:00Z"}
    for excess in (0.2, 0.3):
        report = ReportFactory(lens=lens, basis="measured", **submitted)
        sweep = SweepFactory(report=report, focal_length_mm=lens.focal_min_mm)
        for f_number in (2.8, 5.6, 11):
            ReadingFactory(sweep=sweep, f_number=f_number, excess_ev=excess, excess_se=0.02)
    refresh_lens(lens)
    release = make_release("2026.1")
    for report in lens.reports.all():
        set_aside(report=report, by=AccountFactory(moderator=True), reason="A scene, no target.")
    refresh_lens(lens)
    answer = released_answer(release, lens, cut_on_nm=720)
    (zone,) = released_excess(release, answer)
    assert sorted(point.ev for sweep in zone.sweeps for point in sweep.points) == [0.2] * 3 + [0.3] * 3
    picture = reverse("published-picture", args=[lens.slug, "excess", "svg"])
    assert client.get(picture).status_code == 404, "today nothing counts"
    pinned = client.get(picture, {"release": "2026.1"})
    assert pinned.status_code == 200 and "release 2026.1" in pinned.content.decode()
    table = client.get(reverse("ladder-table", args=[lens.slug]), {"release": "2026.1"}).content.decode()
    assert "release 2026.1" in table
