"""The check page in a real browser: one's own word compared at once, and frames graded beside pictures by keyboard."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client
from django.urls import reverse

from registry.photometry.measurement import Measurement, Refusal
from registry.reports import services
from tests.factories import AccountFactory, FilterFactory, LensFactory
from tests.journeys.conftest import DESK, PHONE
from tests.journeys.test_accessibility import RULES
from tests.pages.conftest import measurement, store_measured
from tests.report_factories import RigFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TILTED = Measurement(
    status="rejected",
    refusal=Refusal(
        "tilted", 1.5, 0.42, "EV", "The light falls off by 1.50 EV to one side: turn the target."
    ),
)


@pytest.fixture
def draft(transactional_db):
    """Three measured frames that turn hot, and one that could not be judged."""
    rig = RigFactory(owner=AccountFactory(name="Wren"))
    draft = services.start_draft(
        author=rig.owner,
        lens=LensFactory(),
        basis="measured",
        rig=rig.public_id,
        filter=FilterFactory().slug,
        filter_position="front",
    )
    for f_number, excess_ev in ((4, 0.01), (8, 0.17), (16, 0.41)):
        store_measured(draft, f_number, measurement(excess_ev))
    store_measured(draft, 11, TILTED)
    return draft


@pytest.fixture
def open_check(open_page, live_server, draft):
    def opened(**options):
        page = open_page("/method/", **options)
        client = Client()
        client.force_login(draft.author)
        page.context.add_cookies(
            [{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}]
        )
        page.goto(reverse("report-check", args=[draft.public_id]))
        return page

    return opened


def test_a_contradiction_shows_as_soon_as_it_is_said(open_check, draft):
    page = open_check()
    page.get_by_label("clean throughout").check()
    page.get_by_text("At f/8 (35 mm) a patch of 0.17 EV was measured").wait_for()
    page.get_by_label("hot from the f-number below on").check()
    page.locator("#id_f_number").fill("8")
    page.keyboard.press("Tab")
    page.get_by_text("What was measured does not contradict it").wait_for()
    page.get_by_role("button", name="Submit the report").click()
    page.wait_for_url(f"**/lenses/{draft.lens.slug}/**")


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_summary_is_compared_and_stood_by_with_and_without_scripts(open_check, draft, scripts):
    page = open_check(scripts=scripts)
    page.get_by_label("clean throughout").check()
    page.get_by_role("button", name="Compare with what was measured").click()
    page.get_by_label("I have looked at those frames again").check()
    page.get_by_label("Why, in a few words").fill("No print shows it")
    page.get_by_role("button", name="Submit the report").click()
    page.wait_for_url(f"**/lenses/{draft.lens.slug}/**")
    draft.refresh_from_db()
    assert (draft.state, draft.own_summary.answer) == ("submitted", "No print shows it")


def test_a_refused_frame_is_graded_by_keyboard(open_check, draft):
    page = open_check()
    page.locator("#refused input[type=radio]:checked").focus()
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url("**/check/#refused")
    assert draft.images.get(state="rejected").grade == 3


@pytest.mark.parametrize("viewport", [DESK, PHONE], ids=["desk", "phone"])
def test_the_page_passes_wcag_2_2_aa_with_refusals_and_a_contradiction(open_check, draft, viewport):
    services.say_summary(report=draft, by=draft.author, says="clean_all")
    page = open_check(viewport=viewport, color_scheme="dark" if viewport is PHONE else "light")
    for details in page.locator("details:visible").all():
        details.evaluate("one => (one.open = true)")
    found = Axe().run(page, options=RULES).response["violations"]
    assert [(broken["id"], [node["target"] for node in broken["nodes"]]) for broken in found] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= viewport["width"]
