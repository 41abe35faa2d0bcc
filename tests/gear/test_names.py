"""How people and cameras write lens names (common practice, no source: the ways of writing are the trade's)."""

import pytest

from registry.gear.names import comparable, nearest, slug_for, tokens_of


@pytest.mark.parametrize(
    "written",
    [
        "35mm f/1.4",
        "35 mm f/1.4",
        "35 1.4",
        "35/1.4",
        "35 f1.4",
        "35mmF1.4",
        "35mm1.4",
        "35 mm ƒ/1,4",
        "1:1.4 35mm",
        "1:1,4/35",
        "F1.4/35mm",
        "35.0 mm f/1.40",
        "35 T1.4",
    ],
)
def test_every_way_of_writing_35_mm_at_f_1_4_is_one(written):
    assert comparable(written) == "1.4 35"


@pytest.mark.parametrize(
    "written",
    ["24-70mm f/2.8-4", "24–70 2.8–4", "24 - 70 mm 1:2.8-4", "24.0-70.0 mm f/2.8-4.0", "24-70/2.8-4"],
)
def test_every_way_of_writing_a_zoom_is_one(written):
    assert comparable(written) == "2.8-4 24-70"


def test_a_camera_s_zoom_of_equal_ends_is_a_prime():
    assert tokens_of("35.0-35.0 mm f/1.4-1.4") == ("35", "1.4")


@pytest.mark.parametrize("written", ["Haldane & Reed", "haldane and reed", "HALDANE–REED", "Reed, Haldane"])
def test_a_maker_s_name_is_one_whatever_its_case_joint_and_order(written):
    assert comparable(written) == "haldane reed"


def test_accents_are_forgiven():
    assert comparable("Öster-Märram") == comparable("oster marram")


def test_different_lenses_stay_different():
    names = ["35 mm f/1.4", "35 mm f/14", "35 mm f/1.8", "135 mm f/1.4", "35-135 mm f/1.4", "35 mm f/1.4 II"]
    assert len({comparable(name) for name in names}) == len(names)


@pytest.mark.parametrize("empty", ["", "   ", "f/", "---", "…"])
def test_text_without_words_or_figures_has_no_token(empty):
    assert tokens_of(empty.replace("…", "")) == ()


def test_nearest_names_the_likeliest_first_and_none_when_nothing_is_like_it():
    makers = ["Osterby", "Quillmark", "Vantorre"]
    assert nearest("Ostreby", makers)[0] == "Osterby"
    assert nearest("zzzzz", makers) == []


def test_addresses_are_plain_and_a_taken_one_gets_a_number():
    assert slug_for("Osterby", "Marram 35 mm f/1.4", "II") == "osterby-marram-35-mm-f-1-4-ii"
    assert slug_for("Haldane & Reed") == "haldane-and-reed"
    assert slug_for("Fen", taken={"fen", "fen-2"}) == "fen-3"
    assert slug_for("銀") == "unnamed"


def test_an_address_fits_its_column():
    assert len(slug_for("a" * 300, taken={"a" * 136})) <= 140
