"""The shot list in a real browser: one printed sheet for every lens, and all of it by keyboard."""

import re

import pytest

from tests.factories import FilterFactory, LensFactory, TeleconverterFactory

pytestmark = pytest.mark.browser

PRIME = {"name": "Marram 85 mm f/1.9", "focal_min_mm": 85, "widest_f": 1.9, "narrowest_f": 22}
THREE_TIMES_EIGHT = {
    "name": "Sedge 24-70 mm f/2.8",
    "focal_min_mm": 24,
    "focal_max_mm": 70,
    "widest_f": 2.8,
    "narrowest_f": 32,
}
LONGEST = {
    "name": "Merse 28-135 mm f/0.95-1.4 with a name as long as only a maker can make it",
    "focal_min_mm": 28,
    "focal_max_mm": 135,
    "widest_f": 0.95,
    "widest_f_tele": 1.4,
    "narrowest_f": 64,
}


@pytest.mark.parametrize("facts", [PRIME, THREE_TIMES_EIGHT, LONGEST], ids=["prime", "3x8", "longest"])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_shot_list_prints_on_exactly_one_sheet(open_page, facts, paper):
    lens = LensFactory(slug="the-lens", **facts)
    asked = f"conversion=full-spectrum&filter={FilterFactory().slug}"
    if facts is LONGEST:
        asked += f"&teleconverter={TeleconverterFactory().slug}"
    page = open_page(f"/lenses/{lens.slug}/shot-list/?{asked}", color_scheme="dark")
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))) == 1


def test_the_sheet_is_black_on_white_and_without_the_sites_frame(open_page):
    page = open_page(f"/lenses/{LensFactory(**PRIME).slug}/shot-list/", color_scheme="dark")
    page.emulate_media(media="print")
    drawn = "getComputedStyle(document.querySelector('.shot-sheet'))"
    assert page.evaluate(f"{drawn}.color") == "rgb(0, 0, 0)"
    for hidden in (".masthead", ".plan-form", ".colophon", "#print"):
        assert not page.locator(hidden).first.is_visible()


def test_a_list_is_planned_by_keyboard_alone(open_page):
    lens = LensFactory(**THREE_TIMES_EIGHT)
    dark = FilterFactory(name="Dusk 720")
    page = open_page(f"/shot-list/?lens_name={lens.name}")
    page.get_by_role("link", name=str(lens)).focus()
    page.keyboard.press("Enter")
    page.get_by_label("Camera’s conversion").focus()
    page.keyboard.type("full")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.type(str(dark))
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.get_by_text("cut-on in all 720 nm").wait_for()
    assert "filter=" + dark.slug in page.url
