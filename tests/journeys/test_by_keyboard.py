"""A table of reports is filed, and an account closed, with nothing but the keyboard."""

import pytest
from playwright.sync_api import expect

from registry.accounts.models import Account
from registry.reports.models import Report
from tests.factories import PASSWORD, AccountFactory, LensFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TABLE = "report,lens,basis,f/2.8,f/5.6,f/8,cut_on_nm\n1,Osterby Marram 35 mm f/1.4,graded,0,1,{grade},720\n"


@pytest.fixture
def page(sign_in, transactional_db):
    LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35")
    return sign_in(AccountFactory(name="Wren"))


def go_to(page, control):
    """Press Tab until a control has the focus, which has to be seen there."""
    for _ in range(80):
        page.keyboard.press("Tab")
        if control.evaluate("control => control === document.activeElement"):
            ring = control.evaluate("control => getComputedStyle(control).outlineStyle")
            assert ring != "none", "the focus can't be seen"
            return
    pytest.fail(f"{control} is not reached")


def button(page, name):
    return page.locator("main").get_by_role("button", name=name)


def test_a_table_with_a_slip_is_mended_and_filed_by_keyboard_alone(page):
    page.goto("/reports/table/")
    cells = page.locator("textarea")
    go_to(page, cells)
    page.keyboard.insert_text(TABLE.format(grade=9))
    go_to(page, button(page, "Look"))
    page.keyboard.press("Enter")
    expect(page.locator(".problems")).to_contain_text("f/8")
    go_to(page, cells)
    page.keyboard.press("ControlOrMeta+a")
    page.keyboard.insert_text(TABLE.format(grade=3))
    go_to(page, button(page, "Look"))
    page.keyboard.press("Enter")
    go_to(page, button(page, "Submit 1 report"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("My reports")
    assert Report.objects.get().state == "submitted"


def test_an_account_is_closed_by_keyboard_alone(page):
    page.goto("/account/")
    go_to(page, page.locator("main").get_by_role("link", name="Close"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Close the account")
    go_to(page, page.get_by_role("radio").first)
    page.keyboard.press("Space")
    go_to(page, page.get_by_label("Password"))
    page.keyboard.insert_text(PASSWORD)
    go_to(page, button(page, "Close"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name="Sign in").first).to_be_visible()
    assert not Account.objects.filter(name="Wren").exists()
