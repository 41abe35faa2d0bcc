"""The lens page in a browser: the tolerance follows the hand, and everything can be reached by keyboard."""

import re

import pytest
from django.urls import reverse

from registry.ledger.worker import drain_tasks
from registry.reports import services
from tests.factories import LensFactory
from tests.journeys.conftest import PHONE
from tests.report_factories import ReadingFactory, ReportFactory, SweepFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
STOPS = (2.8, 4, 5.6, 8, 11, 16)


@pytest.fixture
def lens(transactional_db):
    """Five people measured it: the excess doubles from stop to stop."""
    lens = LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35")
    for _ in range(5):
        report = ReportFactory(lens=lens)
        sweep = SweepFactory(report=report, focal_length_mm=35)
        for place, stop in enumerate(STOPS):
            excess_ev = 0.012 * 2**place
            ReadingFactory(sweep=sweep, f_number=stop, grade=None, excess_ev=excess_ev, excess_se=0.01)
        services.submit_report(report=report, by=report.author)
    drain_tasks()
    return lens


@pytest.fixture
def page(open_page, lens):
    return open_page(reverse("lens", args=[lens.slug]), viewport=PHONE)


def last_clean_stop(page) -> float:
    return float(re.search(r"clean to f/(\d+(?:\.\d+)?)", page.inner_text(".verdict"))[1])


def test_sentence_ladder_and_address_follow_the_slider(page):
    usual = last_clean_stop(page)
    page.locator("input.slider").focus()
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
    page.locator(".verdict", has_text="0.05 EV").wait_for()
    assert last_clean_stop(page) < usual
    assert "visible_ev=0.05" in page.url
    assert "0.05 EV" in page.inner_text("#take .cite") and page.input_value("#id_visible_ev") == "0.05"
    assert page.evaluate("document.activeElement.className") == "slider"


def test_without_scripts_the_field_and_its_button_do_the_same(open_page, lens):
    page = open_page(reverse("lens", args=[lens.slug]), scripts=False)
    page.fill("#id_visible_ev", "0.05")
    page.click(".tolerance button")
    assert "a tolerance of 0.05 EV" in page.inner_text(".verdict")


def test_a_keyboard_reaches_verdict_controls_acts_tables_and_pictures_in_reading_order(page):
    reached = []
    for _ in range(60):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "(e => e.id || e.innerText || e.getAttribute('aria-label') || '')(document.activeElement)"
            )
        )
    wanted = [
        "id_cut_on_nm",
        "id_visible_ev",
        "Show",
        "Test this lens",
        "Compare",
        "As a table",
        "ladder as CSV",
    ]
    places = [reached.index(name) for name in wanted]
    assert places == sorted(places)


def test_the_page_is_no_wider_than_the_phone(page):
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
