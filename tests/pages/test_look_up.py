import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from rest_framework.test import APIClient

from registry.gear.models import Lens
from registry.ledger.worker import drain_tasks
from registry.reports import services
from registry.standings.queries import leads
from registry.standings.services import refresh_lens
from tests.factories import LensFactory, MountFactory
from tests.report_factories import ReportFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db
HOME = reverse("home")


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def clean_lens(lens):
    """One person found no patch at any stop."""
    report = ReportFactory(lens=lens, grades=dict.fromkeys((1.4, 2, 2.8, 4, 5.6, 8, 11, 16), 0))
    services.submit_report(report=report, by=report.author)
    drain_tasks()
    return lens


def test_an_empty_catalogue_says_what_to_do_next(client):
    assert reverse("propose-lens") in client.get(HOME).content.decode()


def test_every_row_is_one_sentence_and_one_small_ladder(client, clean_lens):
    page = text_of(client.get(HOME))
    assert "One report so far: clean throughout." in page
    assert page.count('class="ladder small"') == 1


def test_untested_lenses_are_shown_with_open_steps(client, lens):
    page = text_of(client.get(HOME))
    assert "No reports" in page
    assert 'class="open"' in page and "shade-" not in page


def test_names_are_found_as_people_say_them(client, lens):
    LensFactory(name="Samphire 100 mm f/2.8", focal_min_mm=100, widest_f=2.8)
    page = text_of(client.get(HOME, {"q": "maram 35/1.4"}))
    assert "Marram 35 mm f/1.4" in page
    assert page.index("Marram 35 mm") < (page.index("Samphire") if "Samphire" in page else len(page))


def test_a_name_nobody_knows_offers_to_add_it(client, lens):
    page = text_of(client.get(HOME, {"q": "Zwjxq 999"}))
    assert f"{reverse('propose-lens')}?name=Zwjxq%20999" in page


def test_filters_combine_and_stand_in_the_address(client, lens):
    LensFactory(zoom=True, name="Strand 24-70 mm f/2.8-4", filter_thread_mm=77)
    assert "Strand" in text_of(client.get(HOME, {"kind": "zoom", "focal_mm": "50", "thread": "77"}))
    assert "Strand" not in text_of(client.get(HOME, {"kind": "zoom", "focal_mm": "50", "thread": "67"}))
    assert "Marram 35" not in text_of(client.get(HOME, {"kind": "zoom"}))


def test_the_clean_filter_keeps_lenses_that_are_clean_there(client, clean_lens):
    LensFactory(name="Strand 50 mm f/2")
    page = text_of(client.get(HOME, {"clean_to": "8", "untested": "hide"}))
    assert "Strand" not in page


def test_a_camera_is_remembered_without_an_account(client, lens):
    plover = MountFactory(name="Plover")
    LensFactory(name="Wader 50 mm f/2", mounts=[plover])
    client.post(reverse("my-camera"), {"mount": "plover", "cut_on_nm": "830", "back": HOME})
    page = text_of(client.get(HOME))
    assert "at 830 nm" in page and "Wader" in page and "Marram" not in page
    assert "Marram" in text_of(client.get(HOME, {"mount": ""}))


def test_a_linked_list_does_not_change_the_readers_camera(client, lens):
    client.get(HOME, {"cut_on_nm": "590"})
    assert "at 720 nm" in text_of(client.get(HOME))


def test_a_camera_is_forgotten_on_request(client, lens):
    client.post(reverse("my-camera"), {"cut_on_nm": "830"})
    client.post(reverse("my-camera"), {"forget": "1"})
    assert "at 720 nm" in text_of(client.get(HOME))


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example", "javascript:alert(1)"])
def test_remembering_a_camera_never_leads_to_another_site(client, back):
    assert client.post(reverse("my-camera"), {"cut_on_nm": "720", "back": back}).url == HOME


@pytest.mark.parametrize("cut_on", ["12", "abc", "99999", "nan"])
def test_an_impossible_wavelength_is_refused_in_words(client, lens, cut_on):
    response = client.get(HOME, {"cut_on_nm": cut_on})
    assert response.status_code == 422
    assert "from 400 to 1100" in text_of(response)


def test_a_page_number_beyond_the_end_shows_the_last_page(client, lens):
    assert client.get(HOME, {"page": "99"}).status_code == 200


def test_typing_replaces_only_the_rows(client, lens):
    page = text_of(client.get(HOME, {"q": "35"}, headers={"HX-Request": "true"}))
    assert page.startswith('<section id="rows"') and "<html" not in page


def test_a_refusal_while_typing_is_shown_with_the_rows(client, lens):
    response = client.get(HOME, {"cut_on_nm": "12"}, headers={"HX-Request": "true"})
    assert response.status_code == 422 and "from 400 to 1100" in text_of(response)


def test_a_list_of_fifty_takes_as_many_statements_as_a_list_of_ten(client, clean_lens):
    def statements(**asked) -> int:
        with CaptureQueriesContext(connection) as seen:
            assert client.get(HOME, asked).status_code == 200
        return len(seen)

    for _ in range(10):
        LensFactory()
    first = statements(), statements(visible_ev="0.08", kind="prime", order="confidence")
    warm = statements(), statements(visible_ev="0.08", kind="prime", order="confidence")
    for _ in range(45):
        LensFactory()
    again = statements(), statements(visible_ev="0.08", kind="prime", order="confidence")
    assert again <= first
    assert warm[0] <= 6 and warm[1] <= 8


@pytest.mark.parametrize(
    "typed",
    ["35 1.4", "35mm f/1.4", "35/1.4", "35 mm f1.4", "f/1.4 35mm", "1:1.4/35", "1,4 35"],
)
@pytest.mark.parametrize(
    "around", ["{}", "Osterby {}", "{} osterby", "Osterby Marram {}", "marram {} ostreby"]
)
def test_a_lens_is_found_however_its_name_is_written(client, lens, typed, around):
    LensFactory(name="Fescue 35 mm f/2.8", widest_f=2.8)
    LensFactory(name="Fescue 85 mm f/1.4", focal_min_mm=85)
    page = text_of(client.get(HOME, {"search": around.format(typed)}))
    assert "Marram 35 mm f/1.4" in page
    assert page.index("Marram 35") < min(page.find(other) % 10**9 for other in ("Fescue 35", "Fescue 85"))


def test_the_optical_mark_tells_two_versions_of_a_lens_apart(client, lens):
    LensFactory(name=lens.name, optical_revision="II", slug="osterby-marram-35-ii")
    page = text_of(client.get(HOME, {"search": "marram 35 1.4 II"}))
    assert page.index("Marram 35 mm f/1.4 II</a>") < page.index("Marram 35 mm f/1.4</a>")


def test_a_link_with_the_former_name_of_the_search_still_leads_to_the_lens(client, lens):
    LensFactory(name="Samphire 100 mm f/2.8", focal_min_mm=100, widest_f=2.8)
    assert "Samphire" not in text_of(client.get(HOME, {"q": "marram 35"}))


def options(client, name, **asked) -> list[str]:
    page = text_of(client.get(HOME, asked))
    select = page.split(f'<select id="id_{name}"')[1].split("</select>")[0]
    return [part.split("<")[0] for part in select.split(">") if "(" in part.split("<")[0]]


def test_each_choice_says_how_many_lenses_it_would_leave(client, clean_lens):
    for _ in range(2):
        LensFactory(zoom=True, filter_thread_mm=77)
    assert options(client, "kind") == ["any (3)", "prime (1)", "zoom (2)"]
    assert options(client, "thread") == ["any (3)", "67 mm (1)", "77 mm (2)"]
    assert options(client, "untested") == ["shown (3)", "left out (1)", "only these (2)"]
    assert "f/8 (1)" in options(client, "clean_to") and "f/22 (0)" in options(client, "clean_to")
    assert options(client, "confidence") == ["any (3)", "firm (0)", "fair or firm (0)", "any verdict (1)"]


def test_the_counts_of_a_filter_follow_the_others_but_not_itself(client, clean_lens):
    for _ in range(2):
        LensFactory(zoom=True, filter_thread_mm=77)
    assert options(client, "thread", kind="zoom") == ["any (2)", "77 mm (2)"]
    assert options(client, "kind", kind="zoom") == ["any (3)", "prime (1)", "zoom (2)"]
    assert options(client, "untested", kind="prime") == ["shown (1)", "left out (1)", "only these (0)"]


def test_counts_hold_at_the_readers_own_tolerance(client, clean_lens):
    assert options(client, "untested", visible_ev="0.05") == ["shown (1)", "left out (1)", "only these (0)"]


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("kind", "zom", "Did you mean zoom?"),
        ("confidence", "sure", "is none of tentative, fair, firm"),
        ("untested", "maybe", "is none of hide, only"),
        ("order", "price", "is none of clean-limit, confidence, focal-length, thread"),
        ("mount", "tael", "Did you mean teal?"),
        ("thread", "wide", "is no number from 10 to 200 mm"),
        ("focal_mm", "-3", "is no number from 1 to 3000 mm"),
        ("clean_to", "200", "is no number from 0.7 to 64"),
        ("visible_ev", "7", "is no number from 0.03 to 0.3 EV"),
    ],
)
def test_a_value_that_no_filter_has_is_refused_with_what_it_may_be(client, anyone, lens, name, value, says):
    response = client.get(HOME, {name: value})
    assert response.status_code == 422
    assert says in text_of(response) and "Marram 35" in text_of(response)
    answer = anyone.get("/api/v1/lenses/", {name: value})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["parameter"] == name
    assert says in answer.json()["detail"]


@pytest.fixture
def anyone():
    return APIClient()


@pytest.fixture
def shelf(lens):
    """A settled lens, a hotter one, a zoom without a thread, and an untested one; each slug says which."""
    for slug, limit, facts in (
        ("settled", 11, {"focal_min_mm": 85, "filter_thread_mm": 77}),
        ("hotter", 4, {"focal_min_mm": 24, "filter_thread_mm": 52}),
        ("open", 8, {"zoom": True, "filter_thread_mm": None}),
    ):
        tested = LensFactory(slug=slug, **({"widest_f": 2} | facts if "zoom" not in facts else facts))
        for _ in range(5 if slug == "settled" else 2):
            grades = {stop: 0 if stop <= limit else 3 for stop in (4, 5.6, 8, 11, 16)}
            report_on(tested, grades=grades)
        refresh_lens(tested)


@pytest.mark.parametrize(
    ("order", "expected"),
    [
        ("clean-limit", ["settled", "open", "hotter", "osterby-marram-35"]),
        ("confidence", ["settled", "hotter", "open", "osterby-marram-35"]),
        ("focal-length", ["hotter", "open", "osterby-marram-35", "settled"]),
        ("thread", ["hotter", "osterby-marram-35", "settled", "open"]),
    ],
)
@pytest.mark.parametrize("visible_ev", ["0.10", "0.12"])
def test_page_and_api_put_lenses_in_the_same_order(client, anyone, shelf, order, expected, visible_ev):
    asked = {"order": order, "visible_ev": visible_ev}
    page = client.get(HOME, asked).content.decode()
    shown = [part.split("/")[0] for part in page.split('<h2><a href="/lenses/')[1:]]
    rows = anyone.get("/api/v1/lenses/", asked | {"limit": 2}).json()
    listed = rows["items"] + anyone.get(rows["next"]).json()["items"]
    assert [row["lens"]["slug"] for row in listed] == shown == expected


@pytest.mark.parametrize(
    "asked",
    [
        {"kind": "zoom"},
        {"focal_mm": "50"},
        {"thread": "52"},
        {"clean_to": "8"},
        {"clean_to": "8", "visible_ev": "0.2"},
        {"confidence": "firm"},
        {"untested": "only"},
        {"untested": "hide", "kind": "prime", "clean_to": "4"},
        {"mount": "teal", "search": "osterby 35 1.4"},
        {"cut_on_nm": "830", "untested": "hide"},
    ],
)
def test_page_and_api_mean_the_same_by_their_filters(client, anyone, shelf, asked):
    page = client.get(HOME, asked).content.decode()
    shown = [part.split("/")[0] for part in page.split('<h2><a href="/lenses/')[1:]]
    rows = anyone.get("/api/v1/lenses/", asked).json()["items"]
    assert [row["lens"]["slug"] for row in rows] == [slug.split("?")[0] for slug in shown]


def test_a_readers_own_tolerance_computes_each_lens_once_until_its_reports_change(client, shelf, monkeypatch):
    computed = []

    def counted(lenses, visible_ev, compute=leads.computed_leads):
        computed.extend(lens.slug for lens in lenses)
        return compute(lenses, visible_ev)

    monkeypatch.setattr(leads, "computed_leads", counted)
    asked = {"visible_ev": "0.15", "clean_to": "4"}
    client.get(HOME, asked)
    assert {"settled", "hotter", "open"} <= set(computed)
    computed.clear()
    client.get(HOME, asked)
    assert computed == []
    hotter = Lens.objects.get(slug="hotter")
    report_on(hotter, limit=4)
    refresh_lens(hotter)
    leads.own_leads(0.15)
    assert computed == ["hotter"]


def test_an_unchanged_list_is_not_sent_again_to_a_reader_who_holds_it(client, clean_lens):
    held = client.get(HOME, {"kind": "prime"})["ETag"]
    assert client.get(HOME, {"kind": "prime"}, headers={"If-None-Match": held}).status_code == 304
    report_on(clean_lens)
    refresh_lens(clean_lens)
    assert client.get(HOME, {"kind": "prime"}, headers={"If-None-Match": held}).status_code == 200


def test_the_choices_follow_while_one_types(client, clean_lens):
    page = text_of(client.get(HOME, {"kind": "zoom"}, headers={"HX-Request": "true"}))
    assert '<div hx-swap-oob="innerHTML:#id_thread"><option' in page


def test_the_bag_narrows_the_list_without_an_account(client, lens):
    LensFactory(name="Fescue 85 mm f/1.8", focal_min_mm=85)
    assert "Only lenses in my bag" not in text_of(client.get(HOME))
    client.post(reverse("bag"), {"lens_name": str(lens), "lens": lens.slug, "state": "owned"})
    page = text_of(client.get(HOME, {"bag": "1"}))
    assert "Only lenses in my bag (1)" in page
    assert "Marram 35" in page and "Fescue" not in page


def test_while_one_types_the_address_says_only_what_is_asked_for(client, lens):
    asked = {"search": "marram 35", "mount": "", "kind": "", "cut_on_nm": "720"}
    typed = client.get(HOME, asked, headers={"HX-Request": "true"})
    assert typed["HX-Push-Url"] == "/?search=marram+35&cut_on_nm=720"
