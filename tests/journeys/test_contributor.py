"""A newcomer's whole way: sign up, describe a test, drop frames, check, submit, read the verdict."""

import re

import pytest
from playwright.sync_api import expect

from tests.factories import BodyFactory, FilterFactory, LensFactory
from tests.journeys.acts import describe_the_test, drop, payload, reload_until, sign_up, wait_until_measured
from tests.journeys.conftest import PHONE
from tests.report_factories import CLEAN_SCENE, HOT_SCENE, jpeg_upload, photographed

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
STOPS = (1.4, 2, 2.8, 4, 5.6, 8, 11, 16)


@pytest.fixture
def gear(transactional_db):
    LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35")
    BodyFactory(name="Causey 2", slug="osterby-causey-2")
    FilterFactory(name="Dusk 720", slug="ferrow-dusk-720", cut_on_nm=720)


def sweep_of(scene, stops=STOPS):
    """Frames of one set-up as a camera writes them."""
    return [
        payload(
            f"DSC_{index:04d}.jpg",
            jpeg_upload(
                photographed(scene, f_number=stop, frame=index), f_number=stop, focal_length_mm=35
            ).read(),
        )
        for index, stop in enumerate(stops)
    ]


def test_a_newcomer_files_a_report_and_reads_the_verdict(open_page, gear, worker):
    page = open_page("/reports/new/", viewport=PHONE)
    page.get_by_role("link", name="Make one").click()
    sign_up(page)

    page.get_by_label("Lens", exact=True).press_sequentially("marram 35/1.4")
    page.get_by_label(re.compile("Osterby Marram 35 mm")).check()
    describe_the_test(page)

    frames = sweep_of(HOT_SCENE)
    drop(page, [*frames[:4], payload("notes.jpg", b"not a picture")])
    page.set_input_files("#frames", frames[4:])
    wait_until_measured(page, 8)
    assert "no picture" in page.locator("#uploading").inner_text()

    page.get_by_role("link", name="Check what was measured").click()
    assert page.locator(".checks > li").count() == 8
    page.get_by_role("button", name="Submit the report").click()

    expect(page.locator(".verdict")).to_contain_text("At 720 nm: one report so far", timeout=60_000)
    expect(page.locator("#standing")).to_contain_text("this is the standing with it", timeout=10_000)
    assert page.locator("svg.ladder.large").first.is_visible()

    page.locator(".evidence a").first.click()
    assert page.locator(".plot .dot").count() == 8
    assert page.locator(".picture circle.ring").count() == 16


def test_the_same_way_works_without_scripts(open_page, gear, worker):
    page = open_page("/accounts/signup/?next=/reports/new/", scripts=False)
    sign_up(page, "Dunlin")
    page.get_by_label("Lens", exact=True).fill("Osterby Marram 35 mm f/1.4")
    describe_the_test(page)
    page.set_input_files(
        "#frames", [*sweep_of(CLEAN_SCENE, (2, 4, 8, 16)), payload("notes.jpg", b"not a picture")]
    )
    page.get_by_role("button", name="Send the frames").click()
    assert "notes.jpg" in page.locator("main").inner_text()
    reload_until(page, "main", "4 frames here: 4 measured.")
    page.get_by_role("link", name="Check what was measured").click()
    page.get_by_role("button", name=re.compile("^Submit")).click()
    assert re.search("Your report (is in|counts|goes in as soon as)", page.locator("main").inner_text())
    reload_until(page, ".verdict", "At 720 nm: one report so far: clean")


def test_stops_are_graded_by_eye_without_frames(open_page, gear, worker):
    page = open_page("/accounts/signup/?next=/reports/new/", viewport=PHONE)
    sign_up(page, "Turnstone")
    page.get_by_label("Lens", exact=True).fill("Osterby Marram 35 mm f/1.4")
    page.get_by_label("How it was judged").select_option(label="graded by eye")
    describe_the_test(page)
    page.get_by_role("heading", name="Grade each stop by eye").wait_for()
    page.wait_for_load_state("networkidle")  # the reference pictures are rendered at their first asking
    assert page.locator(".references img").evaluate_all("all => all.every(one => one.naturalWidth > 0)")
    for stop, grade in (("f/4", 0), ("f/5.6", 0), ("f/8", 2), ("f/11", 4)):
        page.get_by_role("radio", name=f"{stop}: grade {grade}").check()
    page.get_by_role("button", name="Keep the grades and go on").click()
    page.get_by_role("button", name="Submit the report").click()
    expect(page.locator(".verdict")).to_contain_text("one report so far: clean to f/5.6", timeout=60_000)


def test_a_lens_nobody_has_added_is_added_on_the_way(open_page, gear, worker):
    page = open_page("/accounts/signup/?next=/reports/new/")
    sign_up(page, "Plover")
    page.get_by_label("Target").fill("a white wall")
    page.get_by_label("Lens", exact=True).press_sequentially("Osterby Samphire 20 mm f/2")
    page.get_by_role("button", name=re.compile("Add “Osterby Samphire")).click()
    assert page.get_by_label("Maker", exact=True).input_value() == "Osterby"
    page.get_by_label(re.compile("^Focal length, mm")).fill("20")
    page.get_by_label(re.compile("^Widest f-number")).fill("2")
    page.get_by_role("button", name="Add the lens").click()
    assert page.get_by_label("Target").input_value() == "a white wall"
    assert page.get_by_label(re.compile("Osterby Samphire 20 mm")).is_checked()


def test_the_way_to_a_lens_can_be_walked_with_the_keyboard(open_page, gear):
    page = open_page("/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("35")
    page.wait_for_url(re.compile("search=35"))
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.closest('.rows') !== null"):
            break
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/lenses/osterby-marram-35/"))
    page.go_back()
    page.get_by_role("heading", name="Which lenses stay clean").wait_for()
    assert "search=35" in page.url and page.locator("header.masthead").count() == 1


def test_a_refused_filter_is_said_beside_the_list(open_page, gear):
    page = open_page("/")
    page.get_by_label("My cut-on, nm").fill("12")
    page.get_by_label("My cut-on, nm").press("Tab")
    page.get_by_text("from 400 to 1100").wait_for()
    page.get_by_label("My cut-on, nm").fill("830")
    page.get_by_label("My cut-on, nm").press("Tab")
    page.get_by_text("1 lens at 830 nm").wait_for()
    page.get_by_role("button", name="Remember this as my camera").click()
    page.get_by_role("link", name="Osterby Marram 35 mm f/1.4").click()
    expect(page.locator(".verdict")).to_contain_text("At 830 nm")


def test_enter_in_the_lens_field_goes_on_and_adds_nothing(open_page, gear, worker):
    page = open_page("/accounts/signup/?next=/reports/new/")
    sign_up(page, "Knot")
    page.get_by_label("Lens", exact=True).fill("Osterby Marram 35 mm f/1.4")
    page.get_by_label("Lens", exact=True).press("Enter")
    page.get_by_role("heading", name="Not quite yet").wait_for()


@pytest.mark.parametrize(
    "path", ["/", "/lenses/osterby-marram-35/", "/method/", "/accounts/login/", "/problems/"]
)
def test_no_page_is_wider_than_a_phone(open_page, gear, path):
    page = open_page(path, viewport={"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    small = page.evaluate(
        """() => [...document.querySelectorAll("main button, main select, main input:not([type=hidden]), nav a")]
            .filter(one => one.checkVisibility({checkOpacity: true}) && !one.classList.contains("unseen"))
            .filter(one => one.getBoundingClientRect().height < 24 && !["checkbox", "radio"].includes(one.type))
            .map(one => one.outerHTML)"""
    )
    assert small == []  # WCAG 2.2, 2.5.8: targets of at least 24 by 24 CSS pixels
