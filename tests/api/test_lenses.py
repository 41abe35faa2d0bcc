"""Looking lenses up and reading one at the reader's cut-on and tolerance."""

import pytest

from registry.standings.services import refresh_lens
from tests.factories import LensFactory, MountFactory, TeleconverterFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    lens = LensFactory(name="Marram 35 mm f/2", widest_f=2, slug="osterby-marram-own")
    for _ in range(3):
        report_on(lens, limit=8)
    refresh_lens(lens)
    return lens


def test_a_lens_answers_in_one_sentence_at_the_readers_cut_on(anyone, lens):
    answer = anyone.get(f"/api/v1/lenses/{lens.slug}/", {"cut_on_nm": 720}).json()["answer"]
    assert answer["sentence"] == "clean to f/8"
    (zone,) = answer["here"]["zones"]
    assert (zone["verdict"], zone["confidence"], zone["n_independent"]) == ("clean-to", "fair", 3)
    chances = [stop["p_clean"] for stop in zone["stops"] if stop["on_ladder"]]
    assert chances == sorted(chances, reverse=True)


def test_another_wavelength_has_no_reports_and_says_what_others_know(anyone, lens):
    answer = anyone.get(f"/api/v1/lenses/{lens.slug}/", {"cut_on_nm": 590}).json()["answer"]
    assert answer["sentence"] == "no reports"
    assert answer["others"][0]["sentence"] == "clean to f/8"


def test_both_sides_of_what_likely_splits_the_reports_are_told(anyone):
    lens = LensFactory(widest_f=2)
    for position, limit in (("front", 4), ("rear", 11)):
        for _ in range(5):
            report_on(lens, limit=limit, filter_position=position)
    refresh_lens(lens)
    front, rear = anyone.get(f"/api/v1/lenses/{lens.slug}/").json()["answer"]["conditions"]
    assert (front["factor"], front["side"]) == ("filter_position", "with the filter in front of the lens")
    assert (front["words"], front["f_number"]) == ("clean to f/4", 4)
    assert (rear["words"], rear["stops"][0]["f_number"]) == ("clean to f/11", 2)


def test_a_readers_own_tolerance_moves_all_evidence(anyone, lens):
    def p_at_8(visible_ev):
        answer = anyone.get(f"/api/v1/lenses/{lens.slug}/", {"visible_ev": visible_ev}).json()["answer"]
        return {stop["f_number"]: stop["p_clean"] for stop in answer["here"]["zones"][0]["stops"]}[8]

    assert p_at_8(0.03) < p_at_8(0.10) < p_at_8(0.30)


def test_a_lens_behind_a_teleconverter_is_answered_apart(anyone, lens):
    converter = TeleconverterFactory()
    answer = anyone.get(f"/api/v1/lenses/{lens.slug}/", {"teleconverter": converter.slug}).json()["answer"]
    assert (answer["sentence"], answer["teleconverter"]) == ("no reports", converter.slug)


@pytest.mark.parametrize(
    "query", [{"cut_on_nm": "nan"}, {"cut_on_nm": 300}, {"visible_ev": 1}, {"visible_ev": "inf"}]
)
def test_readers_that_cannot_be_are_refused(anyone, lens, query):
    answer = anyone.get(f"/api/v1/lenses/{lens.slug}/", query)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == next(iter(query))


def test_look_up_forgives_typing_mistakes_and_puts_the_best_first(anyone, lens):
    LensFactory(name="Fescue 85 mm f/1.8", focal_min_mm=85)
    rows = anyone.get("/api/v1/lenses/", {"search": "osterby maram 35"}).json()["items"]
    assert rows[0]["lens"]["slug"] == lens.slug
    assert rows[0]["sentence"] == "clean to f/8"


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({"clean_to": 8}, True),
        ({"clean_to": 11}, False),
        ({"clean_to": 8, "cut_on_nm": 590}, False),
        ({"confidence": "fair"}, True),
        ({"confidence": "firm"}, False),
        ({"untested": "hide"}, True),
        ({"untested": "only"}, False),
        ({"kind": "prime"}, True),
        ({"kind": "zoom"}, False),
        ({"focal_mm": 35}, True),
        ({"focal_mm": 50}, False),
        ({"thread": 67}, True),
        ({"thread": 72}, False),
        ({"mount": "teal"}, True),
        ({"mount": "plover"}, False),
        ({"clean_to": 5.6, "visible_ev": 0.05}, True),
        ({"clean_to": 16, "visible_ev": 0.25}, False),
    ],
)
def test_filters_pass_what_they_say(anyone, lens, query, found):
    MountFactory(name="Plover")
    rows = anyone.get("/api/v1/lenses/", query).json()["items"]
    assert (lens.slug in [row["lens"]["slug"] for row in rows]) is found


def test_an_unknown_mount_is_answered_with_the_known_ones(anyone, lens):
    answer = anyone.get("/api/v1/lenses/", {"mount": "tael"})
    assert answer.status_code == 422
    assert "teal" in answer.json()["detail"]


def test_a_list_of_lenses_takes_few_statements(anyone, lens, django_assert_max_num_queries):
    for _ in range(20):
        LensFactory()
    with django_assert_max_num_queries(4):
        rows = anyone.get("/api/v1/lenses/").json()["items"]
    assert len(rows) == 21


def test_paging_through_a_search_shows_each_lens_once(anyone):
    for number in range(5):
        LensFactory(name=f"Marram {number} 35 mm f/1.4")
    answer = anyone.get("/api/v1/lenses/", {"search": "marram", "limit": 2}).json()
    seen = [row["lens"]["slug"] for row in answer["items"]]
    while answer["next"]:
        answer = anyone.get(answer["next"]).json()
        seen += [row["lens"]["slug"] for row in answer["items"]]
    assert len(seen) == len(set(seen)) == 5
