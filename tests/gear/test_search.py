"""Finding the lens that someone means."""

import random

import pytest

from registry.errors import NotFound
from registry.gear.exif_bodies import match_exif_body
from registry.gear.models import Lens, LensAlias
from registry.gear.names import slug_for
from registry.gear.queries import (
    find_gear,
    find_lenses,
    gear_by_slug,
    match_exif_lens,
    nearest_lenses,
)
from registry.gear.search import NameIndex
from tests.benchmarks.lens_search import invented_names, mistyped
from tests.factories import BodyFactory, FilterFactory, LensFactory, MakerFactory, MountFactory

pytestmark = pytest.mark.django_db


def lens(maker, name, focal=35, widest=1.4, **more):
    slug = slug_for(maker, name, more.get("optical_revision", ""))
    return LensFactory(
        maker=MakerFactory(name=maker), name=name, slug=slug, focal_min_mm=focal, widest_f=widest, **more
    )


@pytest.fixture
def shelf():
    return {
        "o35": lens("Osterby", "Marram 35 mm f/1.4"),
        "o35s": lens("Osterby", "Marram 35 mm f/1.8", widest=1.8),
        "q35": lens("Quillmark", "Fescue 35 mm f/1.4", mounts=[MountFactory(name="Plover")]),
        "o50": lens("Osterby", "Marram 50 mm f/1.4", focal=50),
        "q24": lens(
            "Quillmark", "Fescue 24-70 mm f/2.8-4", focal=24, focal_max_mm=70, widest=2.8, widest_f_tele=4
        ),
        "h100": lens("Haldane & Reed", "Lovage 100 mm f/2.8", focal=100, widest=2.8),
    }


def first(text, **named):
    found = find_lenses(text, **named)
    return found[0].lens if found else None


@pytest.mark.parametrize(
    "typed, meant",
    [
        ("osterby 35 1.4", "o35"),
        ("35/1.4 Osterby", "o35"),
        ("Ostreby 35 1.4", "o35"),
        ("osterbey marran 35mm f1.8", "o35s"),
        ("quilmark 35", "q35"),
        ("quill mark fescue 35 1.4", "q35"),
        ("fesc 24-70", "q24"),
        ("quillmark 24-70 2.8", "q24"),
        ("haldane reed 100", "h100"),
        ("reed and haldane lovage", "h100"),
        ("lovgae 100 macro", "h100"),
        ("1:1,4/50", "o50"),
    ],
)
def test_the_lens_that_is_meant_comes_first(shelf, typed, meant):
    assert first(typed) == shelf[meant]


def test_35_1_4_finds_both_makers_lenses_before_any_other(shelf):
    assert {match.lens for match in find_lenses("35 1.4")[:2]} == {shelf["o35"], shelf["q35"]}


def test_a_focal_length_within_a_zoom_s_range_finds_the_zoom(shelf):
    assert shelf["q24"] in [match.lens for match in find_lenses("fescue 50")]


def test_the_whole_name_scores_one_and_less_scores_less(shelf):
    assert find_lenses("Osterby Marram 35 mm f/1.4")[0].score == pytest.approx(1)
    assert find_lenses("Ostreby Marram 35 mm f/1.4")[0].score < 1


def test_only_lenses_of_the_mount_are_found(shelf):
    assert [match.lens for match in find_lenses("35 1.4", mount="plover")] == [shelf["q35"]]


@pytest.mark.parametrize("text", ["", "  ", "f/", "zzzzzz qqqq", "%_\\'\";--", "\x00", "9" * 5000])
def test_what_is_like_no_lens_finds_none(shelf, text):
    assert find_lenses(text) == []


def test_no_more_than_the_limit_are_found(shelf):
    assert len(find_lenses("35 1.4", limit=1)) == 1


def test_a_lens_is_found_by_its_alias_once(shelf):
    LensAlias.objects.create(lens=shelf["h100"], written="HR LOV-100")
    assert [match.lens for match in find_lenses("HR LOV-100")].count(shelf["h100"]) == 1
    assert first("hr lov 100") == shelf["h100"]


def test_a_lens_renamed_or_removed_or_whose_maker_is_renamed_is_found_as_it_is_now(shelf):
    assert first("lovage") == shelf["h100"]
    shelf["h100"].name = "Bulrush 100 mm f/2.8"
    shelf["h100"].save()
    assert first("lovage") is None
    assert first("bulrush") == shelf["h100"]
    maker = shelf["h100"].maker
    maker.name = "Tidewright"
    maker.save()
    assert first("tidewright") == shelf["h100"]
    Lens.objects.filter(pk=shelf["h100"].pk).delete()
    assert first("tidewright") is None


def test_searching_again_asks_the_database_little(shelf, django_assert_max_num_queries):
    find_lenses("35")
    with django_assert_max_num_queries(4):
        find_lenses("osterby 35")


def test_did_you_mean_names_three_at_most(shelf):
    assert len(nearest_lenses("35 1.4")) == 3 or len(nearest_lenses("35 1.4")) == 2
    assert nearest_lenses("ostreby marran 35 1.4")[0] == shelf["o35"]


def test_two_hundred_mistyped_names_among_five_thousand_are_all_found():
    draw = random.Random(4)
    names = invented_names(draw)
    index = NameIndex(enumerate(names))
    wrong = []
    for number in draw.sample(range(len(names)), 200):
        typed = mistyped(names[number], draw)
        hits = index.find(typed)
        if not hits or hits[0].number != number:
            wrong.append((typed, names[number]))
    assert wrong == []


class TestWhatCamerasWrite:
    @pytest.mark.parametrize(
        "written, meant",
        [
            ("OSTERBY MARRAM 35mm F1.4", "o35"),
            ("Marram 35.0 mm f/1.4", "o35"),
            ("Fescue 24.0-70.0 mm f/2.8-4.0", "q24"),
        ],
    )
    def test_its_own_way_of_writing_is_understood(self, shelf, written, meant):
        assert match_exif_lens(written) == shelf[meant]

    @pytest.mark.parametrize(
        "written", ["", "----", "35.0 mm f/1.4", "Marram 35mm F2.8", "Maram 35mm F1.4", "None"]
    )
    def test_what_fits_no_lens_surely_is_left_to_the_person(self, shelf, written):
        assert match_exif_lens(written) is None

    def test_two_revisions_are_told_apart_only_when_the_camera_says_which(self):
        first_one = lens("Ferrow", "Sedge 40 mm f/2", 40, 2, optical_revision="I")
        second_one = lens("Ferrow", "Sedge 40 mm f/2", 40, 2, optical_revision="II")
        assert match_exif_lens("Ferrow Sedge 40mm f/2") is None
        assert match_exif_lens("Ferrow Sedge 40mm f/2 II") == second_one
        assert match_exif_lens("Sedge 40mm f/2 I") == first_one

    def test_a_lens_called_by_its_figures_alone_is_found_when_only_one_of_the_mount_is(self):
        ours = lens("Ferrow", "35 mm f/2", 35, 2, mounts=[MountFactory(name="Plover")])
        lens("Osterby", "35 mm f/2", 35, 2)
        assert match_exif_lens("35.0 mm f/2.0") is None
        assert match_exif_lens("35.0 mm f/2.0", mount="plover") == ours

    def test_an_alias_wins_over_a_name(self, shelf):
        LensAlias.objects.create(lens=shelf["q35"], written="Marram 35 mm f/1.8")
        assert match_exif_lens("MARRAM 35mm f/1.8") == shelf["q35"]

    def test_a_body_is_known_by_its_exif_model_or_its_name(self):
        body = BodyFactory(name="Causey 7R", exif_model="OSTERBY CAUSEY-7R")
        BodyFactory(name="Causey 7", exif_model="OSTERBY CAUSEY-7")
        assert match_exif_body("OSTERBY", "OSTERBY CAUSEY-7R") == body
        assert match_exif_body("Osterby Works", "Causey 7R") == body
        assert match_exif_body("", "CAUSEY-8") is None
        assert match_exif_body("Osterby", "") is None

    def test_a_body_that_is_added_or_renamed_is_known_at_once(self):
        assert match_exif_body("Osterby", "Causey 9") is None
        body = BodyFactory(name="Causey 9")
        assert match_exif_body("Osterby", "Causey 9") == body
        body.name = "Causey 10"
        body.save()
        assert match_exif_body("Osterby", "Causey 9") is None
        assert match_exif_body("Osterby", "Causey 10") == body

    def test_two_bodies_that_write_one_model_are_left_to_the_person(self):
        for name in ("Causey 7", "Causey 7 monochrome"):
            BodyFactory(name=name, exif_model="OSTERBY CAUSEY-7")
        assert match_exif_body("OSTERBY", "OSTERBY CAUSEY-7") is None

    def test_a_long_catalogue_is_not_read_again_for_every_frame(self, django_assert_num_queries):
        body = BodyFactory(name="Causey 7R", exif_model="OSTERBY CAUSEY-7R")
        match_exif_body("OSTERBY", "OSTERBY CAUSEY-7R")
        with django_assert_num_queries(3):  # has anything changed: bodies, makers; the body itself
            assert match_exif_body("OSTERBY", "OSTERBY CAUSEY-7R") == body


class TestOtherGear:
    def test_a_filter_is_found_by_its_cut_on(self):
        wanted = FilterFactory(name="Dusk 830", cut_on_nm=830)
        FilterFactory(name="Dusk 720")
        assert find_gear("filter", "ferow 830")[0] == wanted

    def test_an_unknown_address_names_the_nearest_known(self, shelf):
        with pytest.raises(NotFound) as refusal:
            gear_by_slug("lens", "osterby-maram-35-mm-f-1-4", field="lens")
        assert refusal.value.first.remedy.startswith("Did you mean osterby-marram-35-mm-f-1-4")
        assert refusal.value.first.field == "lens"

    def test_a_known_address_gives_its_gear(self, shelf):
        assert gear_by_slug("lens", shelf["o50"].slug) == shelf["o50"]
