"""Pictures and tables to publish: whole in themselves, with the edition that they come from."""

import csv
import io
import xml.etree.ElementTree as ElementTree

import pytest
from django.urls import reverse
from PIL import Image

from registry.gear.models import Adapter
from registry.ledger.worker import drain_tasks
from registry.pages import drawing_limit
from registry.pages.themes import theme
from registry.reports import services
from registry.standings.models import PriorsEdition, Standing
from tests.factories import LensFactory, MakerFactory, MountFactory, TeleconverterFactory
from tests.report_factories import ReadingFactory, ReportFactory, SweepFactory

pytestmark = pytest.mark.django_db
SVG = "{http://www.w3.org/2000/svg}"
STOPS = (2.8, 4, 5.6, 8, 11, 16)


def submit(report):
    services.submit_report(report=report, by=report.author)
    drain_tasks()
    return report


def graded(lens, **fields):
    return submit(
        ReportFactory(lens=lens, grades=dict(zip(STOPS, (0, 0, 0, 0, 2, 3), strict=True)), **fields)
    )


@pytest.fixture
def measured(lens):
    report = ReportFactory(lens=lens)
    sweep = SweepFactory(report=report, focal_length_mm=35)
    for stop, excess_ev in zip(STOPS, (0.01, 0.01, 0.02, 0.05, 0.2, 0.4), strict=True):
        ReadingFactory(sweep=sweep, f_number=stop, grade=None, excess_ev=excess_ev, excess_se=0.01)
    return submit(report)


def picture(client, lens, name, kind="svg", **asked):
    return client.get(reverse("published-picture", args=[lens.slug, name, kind]), asked)


def words_of(svg: bytes) -> str:
    return " ".join(text for part in ElementTree.fromstring(svg).iter() for text in part.itertext())


def colours_of(svg: bytes) -> str:
    return svg.decode().lower()


def test_a_ladder_stands_by_itself_with_title_words_and_edition(client, lens):
    graded(lens)
    answer = picture(client, lens, "ladder")
    assert answer["Content-Type"] == "image/svg+xml"
    words = words_of(answer.content)
    assert f"{lens} at 720 nm" in words and "One report so far: clean to f/8" in words
    assert "Cleanstop, live data of" in words and "method" in words and "CC BY 4.0" in words
    assert "var(" not in answer.content.decode()  # no style of the site is needed


def test_a_published_figure_names_the_priors_that_its_standing_was_computed_under(client, lens):
    graded(lens)
    number = Standing.objects.filter(lens=lens).first().priors.number
    PriorsEdition.objects.update(in_force=False)
    PriorsEdition.objects.create(number=number + 1, method_version="later", content={}, in_force=True)
    assert f"priors edition {number}" in words_of(picture(client, lens, "ladder").content)
    assert f"priors edition {number}, " in client.get(reverse("lens", args=[lens.slug])).content.decode()


def test_the_same_state_draws_the_same_bytes(client, lens, measured):
    from django.core.cache import caches

    for name in ("ladder", "excess"):
        first = picture(client, lens, name).content
        caches["pages"].clear()
        assert picture(client, lens, name).content == first


@pytest.mark.parametrize("name", ["ladder", "excess"])
def test_a_picture_can_be_had_for_dark_pages(client, lens, measured, name):
    light, dark = (picture(client, lens, name, theme=one) for one in ("light", "dark"))
    assert theme("light")["paper"] in colours_of(light.content)
    assert theme("dark")["paper"] in colours_of(dark.content)
    assert theme("light")["paper"] not in colours_of(dark.content)


@pytest.mark.parametrize("name", ["ladder", "excess"])
@pytest.mark.parametrize("width", [320, 1000])
def test_a_png_is_as_wide_as_asked(client, lens, measured, name, width):
    answer = picture(client, lens, name, "png", width=width)
    drawn = Image.open(io.BytesIO(answer.content))
    assert answer["Content-Type"] == "image/png" and drawn.width == width
    assert len(drawn.convert("L").getcolors(100_000)) > 5  # more than paper


def test_a_zooms_sheet_shows_each_focal_zone(client):
    zoom = LensFactory(zoom=True)
    tree = ElementTree.fromstring(picture(client, zoom, "ladder").content)
    assert len(tree.findall(f".//{SVG}svg")) >= 3


def test_excess_is_drawn_on_axes_with_the_visible_threshold(client, lens, measured):
    words = words_of(picture(client, lens, "excess").content)
    assert "excess, EV" in words and "aperture, f/" in words and "visible from here" in words
    for stop in ("2.8", "5.6", "16"):
        assert stop in words


def test_excess_that_nobody_measured_is_not_found_in_words(client, lens):
    graded(lens)
    answer = picture(client, lens, "excess")
    assert answer.status_code == 404 and "Nobody has measured" in answer.content.decode()


@pytest.mark.parametrize(
    "asked", [{"theme": "sepia"}, {"width": 9}, {"width": 99999}, {"zone": "a<b"}, {"cut_on_nm": 5}]
)
def test_an_option_that_can_not_be_is_refused_with_what_can(client, lens, asked):
    answer = picture(client, lens, "ladder", **asked)
    assert answer.status_code == 422 and "leave it out if unsure" in answer.content.decode()


@pytest.mark.parametrize("name, kind", [("ladder", "gif"), ("portrait", "svg")])
def test_there_are_no_other_pictures(client, lens, name, kind):
    assert picture(client, lens, name, kind).status_code == 404


def test_a_picture_may_be_shown_and_may_do_nothing_else(client, lens):
    answer = picture(client, lens, "ladder")
    assert answer["Content-Security-Policy"] == "default-src 'none'; style-src 'unsafe-inline'; sandbox"
    assert answer["X-Content-Type-Options"] == "nosniff" and "public" in answer["Cache-Control"]


def test_a_held_picture_is_not_sent_again_until_the_standing_changes(client, lens):
    graded(lens)
    held = {"HTTP_IF_NONE_MATCH": picture(client, lens, "ladder")["ETag"]}
    address = reverse("published-picture", args=[lens.slug, "ladder", "svg"])
    assert client.get(address, **held).status_code == 304
    graded(lens)
    assert client.get(address, **held).status_code == 200


def test_drawing_is_limited_by_size_and_what_is_kept_costs_nothing(client, lens, monkeypatch):
    monkeypatch.setattr(drawing_limit, "MEGAPIXELS_A_MINUTE", 2)
    assert picture(client, lens, "ladder", "png", width=1400).status_code == 200
    assert picture(client, lens, "ladder", "png", width=1400).status_code == 200
    refused = picture(client, lens, "ladder", "png", width=1300)
    assert refused.status_code == 429 and refused["Retry-After"] == "60"
    assert "Ask again in a minute" in refused.content.decode()


def test_what_a_picture_shows_is_in_its_address_and_not_in_the_readers_camera(client, lens):
    client.post(reverse("my-camera"), {"cut_on_nm": "830", "visible_ev": "0.2", "mount": ""})
    assert "at 720 nm" in words_of(picture(client, lens, "ladder").content)
    assert "at 830 nm" in words_of(picture(client, lens, "ladder", cut_on_nm=830).content)


def test_the_ladders_figures_come_as_csv(client, lens):
    graded(lens)
    answer = client.get(reverse("ladder-table", args=[lens.slug]))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    tested = {float(row["f_number"]): row for row in rows if row["chance_clean"]}
    assert set(tested) >= set(STOPS)
    assert float(tested[4]["low_90"]) < float(tested[4]["chance_clean"]) <= float(tested[4]["high_90"])
    assert rows[0]["lens"] == lens.slug and rows[0]["edition"].startswith("live data of")


@pytest.fixture
def teal(lens):
    """A mount with a prime, a zoom, an adapted lens and one behind a teleconverter."""
    curlew, teal = MountFactory(name="Curlew"), MountFactory(name="Teal")
    Adapter.objects.create(
        maker=MakerFactory(), name="Bridge", slug="bridge", lens_mount=curlew, body_mount=teal
    )
    LensFactory(zoom=True, name="Marram 24-70 mm f/2.8-4")
    LensFactory(name="Polder 50 mm f/1.4", focal_min_mm=50, mounts=[curlew])
    LensFactory(name="Foreign 50 mm f/2", mounts=[MountFactory(name="Plover")])
    graded(lens)
    behind = TeleconverterFactory(name="Extender 2×", magnification=2)
    report = ReportFactory(lens=lens, teleconverter=behind)
    sweep = SweepFactory(report=report, focal_length_mm=70)
    for stop in (4, 5.6, 8, 11):
        ReadingFactory(sweep=sweep, f_number=stop, grade=0)
    submit(report)
    return teal


def test_a_mounts_table_groups_by_kind_and_angle_with_adapted_lenses_and_converters_apart(client, teal):
    shown = " ".join(client.get(reverse("mount", args=["teal"])).content.decode().split())
    places = [
        shown.index(words)
        for words in (
            "Fixed focal lengths, wide",
            "Marram 35 mm f/1.4",
            "Zooms, normal",
            "Marram 24-70 mm",
            "On an adapter",
            "Polder 50 mm f/1.4",
            "Through glass",
            "with Osterby Extender 2×",
        )
    ]
    assert places == sorted(places) and "Foreign 50 mm" not in shown
    assert reverse("mount-picture", args=["teal", "svg"]) in shown


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_a_mounts_whole_table_is_a_picture(client, teal, kind):
    answer = client.get(reverse("mount-picture", args=["teal", kind]), {"width": 800})
    if kind == "svg":
        words = words_of(answer.content)
        assert "Teal mount at 720 nm" in words and "Zooms, normal" in words and "live data of" in words
        assert len(ElementTree.fromstring(answer.content).findall(f".//{SVG}svg")) == 4
    else:
        assert Image.open(io.BytesIO(answer.content)).width == 800


def test_a_mount_that_is_not_known_is_refused_with_those_that_are(client, teal):
    answer = client.get(reverse("mount", args=["heron"]))
    assert answer.status_code == 404 and "curlew, plover, teal" in answer.content.decode()
