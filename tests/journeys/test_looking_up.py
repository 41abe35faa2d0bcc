"""A buyer looks lenses up by keyboard: the list and the counts follow, the choices stay as they were made."""

import pytest

from tests.factories import LensFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def shelf():
    LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35")
    for number in range(3):
        LensFactory(zoom=True, name=f"Strand {number} 24-70 mm f/2.8-4", filter_thread_mm=77 + 5 * number)


def chosen(page, name):
    return page.locator(f"#id_{name}").evaluate("select => select.selectedOptions[0].textContent")


def test_choosing_a_filter_by_keyboard_moves_the_counts_and_nothing_else(open_page, shelf):
    from playwright.sync_api import expect

    page = open_page("/")
    page.locator("summary", has_text="Filters and order").press("Enter")
    page.locator("#id_kind").focus()
    for _ in range(2):
        page.keyboard.press("ArrowDown")
    expect(page.locator(".found")).to_contain_text("3 lenses")
    expect(page.locator("#id_thread option")).to_have_count(4)
    assert page.evaluate("document.activeElement.id") == "id_kind"
    kept = {
        name: chosen(page, name) for name in ("kind", "thread", "mount", "clean_to", "confidence", "untested")
    }
    assert kept == {
        "kind": "zoom (3)",
        "thread": "any (3)",
        "mount": "any mount (3)",
        "clean_to": "any (3)",
        "confidence": "any (3)",
        "untested": "shown (3)",
    }
    assert page.url.endswith("/?cut_on_nm=720&kind=zoom&visible_ev=0.10")


def test_two_lenses_are_put_side_by_side_from_the_list(open_page, shelf):
    page = open_page("/")
    for box in page.locator(".compare-this input").all()[:2]:
        box.check()
    page.get_by_role("button", name="Compare the chosen lenses").click()
    assert page.url.count("lens=") == 2


def test_the_menu_opens_by_keyboard_on_a_phone_and_leads_on(open_page, shelf):
    from tests.journeys.conftest import PHONE

    page = open_page("/", viewport=PHONE)
    header = page.locator(".masthead").bounding_box()
    assert header["height"] < 80  # one line
    page.locator(".narrow-nav summary").press("Enter")
    page.locator(".narrow-nav").get_by_role("link", name="Wanted tests").press("Enter")
    page.wait_for_url("**/wanted/")
