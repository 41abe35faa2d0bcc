"""Up to six lenses side by side: one address holds it all."""

import pytest
from django.urls import reverse

from registry.ledger.worker import drain_tasks
from registry.reports import services
from tests.factories import LensFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
ADDRESS = reverse("compare")


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def two():
    first = LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35", mass_g=420)
    second = LensFactory(name="Marram 85 mm f/1.9", slug="osterby-marram-85", focal_min_mm=85, widest_f=1.9)
    report = ReportFactory(lens=first, grades={4: 0, 5.6: 0, 8: 0, 11: 3})
    services.submit_report(report=report, by=report.author)
    drain_tasks()
    return first, second


def test_lenses_stand_in_the_order_of_the_address_with_what_is_known_of_each(client, two):
    shown = text_of(client.get(ADDRESS, {"lens": [two[1].slug, two[0].slug], "cut_on_nm": 720}))
    assert "Side by side at 720 nm" in shown
    assert shown.index("Marram 85 mm") < shown.index("Marram 35 mm")
    assert "One report so far: clean to f/8." in shown and "No reports." in shown
    assert "420 g" in shown and "not known" in shown
    assert shown.count('class="ladder small"') == 2


def test_a_lens_can_be_taken_out(client, two):
    shown = text_of(client.get(ADDRESS, {"lens": [two[0].slug, two[1].slug]}))
    assert f'href="{ADDRESS}?lens={two[1].slug}&amp;cut_on_nm=720"' in shown


def test_a_name_that_means_one_lens_is_added_and_the_address_says_so(client, two):
    answer = client.get(ADDRESS, {"lens": two[0].slug, "add": "85 1.9"})
    assert answer.status_code == 302
    assert answer.url == f"{ADDRESS}?lens={two[0].slug}&lens={two[1].slug}&cut_on_nm=720"


def test_a_name_that_means_several_is_asked_about(client, two):
    LensFactory(name="Marram 35 mm f/2", slug="osterby-marram-35-2")
    shown = text_of(client.get(ADDRESS, {"lens": two[1].slug, "add": "marram 35"}))
    assert "Which one is it?" in shown and "Marram 35 mm f/2" in shown


def test_a_name_that_no_lens_has_is_answered_with_how_to_write_one(client, two):
    assert "Try its focal length" in text_of(client.get(ADDRESS, {"add": "zzzzzz"}))


def test_more_than_six_are_refused_with_what_to_leave_out(client):
    slugs = [LensFactory().slug for _ in range(7)]
    answer = client.get(ADDRESS, {"lens": slugs})
    assert answer.status_code == 422 and slugs[6] in text_of(answer)


def test_six_leave_no_room_for_another(client):
    shown = text_of(client.get(ADDRESS, {"lens": [LensFactory().slug for _ in range(6)]}))
    assert "Six lenses stand here" in shown and 'name="add"' not in shown


def test_a_lens_named_twice_stands_once(client, two):
    shown = text_of(client.get(ADDRESS, {"lens": [two[0].slug, two[0].slug]}))
    assert shown.count('class="ladder small"') == 1


def test_an_unknown_lens_is_refused_in_words(client):
    answer = client.get(ADDRESS, {"lens": "no-such"})
    assert answer.status_code == 404 and "no lens “no-such”" in text_of(answer)


def test_an_empty_comparison_says_what_to_do(client, db):
    assert "No lens yet. Type a name above" in text_of(client.get(ADDRESS))
