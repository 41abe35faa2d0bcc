"""The table of frames walked with nothing but the keyboard, and without scripts."""

import re

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from registry.reports import services
from tests.factories import AccountFactory, FilterFactory, LensFactory
from tests.journeys.conftest import PHONE
from tests.pages.conftest import SampleImageFactory
from tests.report_factories import RigFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def draft(transactional_db):
    """Four frames of a lens without contacts."""
    author = AccountFactory(name="Wren")
    report = services.start_draft(
        author=author,
        lens=LensFactory(),
        basis="measured",
        rig=RigFactory(owner=author),
        filter=FilterFactory(),
        filter_position="front",
    )
    for number in range(4):
        SampleImageFactory(report=report, owner=author, f_number=None, file_name=f"DSC_{number}.jpg")
    return report


@pytest.fixture
def at_the_table(sign_in, draft):
    def opened(**options):
        page = sign_in(draft.author, **options)
        page.goto(reverse("report-frames-table", args=[draft.public_id]))
        return page

    return opened


def here(page):
    return page.evaluate("document.activeElement.getAttribute('aria-label')")


def press(page, *keys):
    for key in keys:
        page.keyboard.press(key)


def stops(draft):
    return list(draft.images.order_by("file_name").values_list("f_number", flat=True))


def test_the_table_is_filled_without_a_mouse(at_the_table, draft):
    page = at_the_table()
    page.get_by_label("f-number of DSC_0.jpg").focus()
    page.keyboard.type("4")
    press(page, "Enter")
    assert here(page) == "f-number of DSC_1.jpg"
    page.keyboard.type("5.6")
    press(page, "ArrowDown")
    page.keyboard.type("8")
    press(page, "ArrowUp")
    assert here(page) == "f-number of DSC_1.jpg"
    press(page, "ArrowRight")
    assert here(page) == "Focal length of DSC_1.jpg"
    press(page, "ArrowRight")
    assert here(page) == "Kind of DSC_1.jpg"
    press(page, "ArrowDown")
    assert here(page) == "Kind of DSC_1.jpg"  # a list keeps its own keys
    press(page, "ArrowLeft", "ArrowLeft", "Shift+Enter")
    assert here(page) == "f-number of DSC_0.jpg"
    page.keyboard.type("22")
    press(page, "Escape")
    expect(page.get_by_label("f-number of DSC_0.jpg")).to_have_value("")
    page.keyboard.type("2.8")
    press(page, "Tab")
    assert here(page) == "Focal length of DSC_0.jpg"
    press(page, "Control+Enter")
    page.wait_for_url(re.compile("/frames/$"))
    assert stops(draft) == [2.8, 5.6, 8, None]
    assert draft.images.get(file_name="DSC_1.jpg").purpose == "control"


def test_enter_in_the_last_row_sends_nothing_by_accident(at_the_table, draft):
    page = at_the_table()
    page.get_by_label("f-number of DSC_3.jpg").focus()
    page.keyboard.type("4")
    press(page, "Enter")
    page.wait_for_timeout(300)
    assert page.url.endswith("/table/") and here(page) == "f-number of DSC_3.jpg"


def test_a_column_pasted_from_a_table_fills_downwards(at_the_table):
    page = at_the_table()
    page.get_by_label("f-number of DSC_1.jpg").focus()
    page.evaluate(
        """() => {
            const clipboard = new DataTransfer();
            clipboard.setData("text", "4\\n5.6\\n8\\n11");
            document.activeElement.dispatchEvent(
                new ClipboardEvent("paste", { clipboardData: clipboard, bubbles: true, cancelable: true }));
        }"""
    )
    shown = [page.get_by_label(f"f-number of DSC_{number}.jpg").input_value() for number in range(4)]
    assert shown == ["", "4", "5.6", "8"]


def test_shift_ticks_a_range(at_the_table):
    page = at_the_table()
    page.get_by_label("Choose DSC_0.jpg").click()
    page.get_by_label("Choose DSC_2.jpg").click(modifiers=["Shift"])
    ticked = [page.get_by_label(f"Choose DSC_{number}.jpg").is_checked() for number in range(4)]
    assert ticked == [True, True, True, False]


@pytest.mark.parametrize(
    "options", [{}, {"scripts": False}, {"viewport": PHONE}], ids=["desk", "no scripts", "phone"]
)
def test_a_lens_without_contacts_gets_its_stops_in_one_stroke(at_the_table, draft, options):
    page = at_the_table(**options)
    page.get_by_label("From f/").fill("2.8")
    page.get_by_label("To f/").fill("8")
    page.get_by_role("button", name="Fill in, to look at first").click()
    expect(page.get_by_text("4 frames filled in below")).to_be_visible()
    expect(page.get_by_label("f-number of DSC_2.jpg")).to_have_value("5.6")
    assert stops(draft) == [None] * 4
    page.get_by_role("button", name="Keep these values").last.click()
    page.get_by_text("4 frames were corrected").wait_for()
    assert stops(draft) == [2.8, 4, 5.6, 8]


def test_a_wrong_cell_is_named_and_nothing_is_lost(at_the_table, draft):
    page = at_the_table(viewport=PHONE)
    page.get_by_label("f-number of DSC_0.jpg").fill("4")
    page.get_by_label("f-number of DSC_1.jpg").fill("7.7")
    page.get_by_role("button", name="Keep these values").last.click()
    expect(page.get_by_role("alert")).to_contain_text("DSC_1.jpg: f/7.7 is neither")
    expect(page.get_by_label("f-number of DSC_0.jpg")).to_have_value("4")
    expect(page.get_by_label("f-number of DSC_1.jpg")).to_have_attribute("aria-invalid", "true")
    described = page.get_by_label("f-number of DSC_1.jpg").get_attribute("aria-describedby")
    expect(page.locator(f"#{described}")).to_contain_text("Did you mean f/7.1 or f/8?")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert stops(draft) == [None] * 4


def test_the_cell_with_the_focus_is_never_under_the_bars(at_the_table, draft):
    for number in range(4, 30):
        SampleImageFactory(report=draft, owner=draft.author, f_number=None, file_name=f"DSC_{number}.jpg")
    page = at_the_table()
    page.get_by_label("f-number of DSC_0.jpg").focus()
    for _ in range(25):
        press(page, "ArrowDown")
        assert page.evaluate(
            """() => {
                const cell = document.activeElement.getBoundingClientRect();
                const bar = document.querySelector(".keep").getBoundingClientRect();
                return cell.bottom <= bar.top && cell.top >= 0;
            }"""
        ), here(page)
