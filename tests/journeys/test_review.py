"""A moderator's way in a browser, by keyboard alone: from the list to a decision, and back."""

import pytest
from playwright.sync_api import expect

from registry.moderation.models import Decision
from registry.moderation.queries.decisions import status_of
from registry.standings.queries import open_conflicts
from registry.standings.services import refresh_lens
from tests.factories import PASSWORD, AccountFactory, LensFactory
from tests.journeys.test_accessibility import violations_on
from tests.standings.evidence import report_on

pytestmark = pytest.mark.browser


def to(page, name):
    """Walk with the tabulator until the focus is on what is called so."""
    for _ in range(200):
        page.keyboard.press("Tab")
        focused = page.evaluate(
            "() => { const it = document.activeElement; const label = it.labels && it.labels[0];"
            " return (label ? label.innerText : it.innerText || it.value || '').trim(); }"
        )
        if focused.startswith(name):
            return
    pytest.fail(f"The keyboard doesn't reach “{name}”.")


def test_a_conflict_is_settled_and_opened_again_by_keyboard(chromium, live_server, transactional_db):
    lens = LensFactory(widest_f=2)
    for limit in (11, 11, 11, 2.8, 2.8):
        report_on(lens, limit=limit)
    refresh_lens(lens)
    moderator = AccountFactory(moderator=True)
    page = chromium.new_page()
    page.goto(f"{live_server.url}/accounts/login/")
    page.fill("[name=login]", moderator.email)
    page.fill("[name=password]", PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{live_server.url}/")
    page.goto(f"{live_server.url}/review/")
    to(page, str(lens))
    broken = violations_on(page, "the list of conflicts")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("reports differ")
    broken += violations_on(page, "a conflict")
    to(page, "Ask the author")
    page.keyboard.press("ArrowUp")  # the last of the choices: accept it
    to(page, "Reason, or the question")
    page.keyboard.type("Nothing tells the copies apart.")
    to(page, "Decide")
    page.keyboard.press("Enter")
    expect(page.get_by_text("It stands here for everyone to read")).to_be_visible()
    broken += violations_on(page, "a decision")
    assert broken == [], "\n" + "\n".join(broken)
    made = Decision.objects.get()
    assert (made.act, open_conflicts(lens).count()) == ("accept", 0)
    to(page, "Reason")
    page.keyboard.type("One more look.")
    to(page, "Take it back")
    page.keyboard.press("Enter")
    expect(page.get_by_text("The row before stays.")).to_be_visible()
    assert status_of(Decision.objects.get(pk=made.pk)).code == "taken-back"
    assert open_conflicts(lens).count() == 1
    page.close()
