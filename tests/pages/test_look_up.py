import pytest
from django.urls import reverse

from registry.ledger.worker import drain_tasks
from registry.reports import services
from tests.factories import FilterFactory, LensFactory, MountFactory
from tests.report_factories import ReportFactory

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


def test_a_list_takes_few_statements_however_long_it_is(client, django_assert_max_num_queries):
    FilterFactory()
    for _ in range(20):
        LensFactory()
    with django_assert_max_num_queries(8):
        client.get(HOME)
