"""The bag in a real browser: by keyboard alone, without scripts, and its card on one printed sheet."""

import re
from urllib.parse import urljoin

import pytest
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore

from registry.bags.contents import Carried
from registry.bags.services import change_bag
from tests.bags.standings import standing
from tests.factories import AccountFactory, LensFactory
from tests.journeys.conftest import PHONE

pytestmark = pytest.mark.browser


def sign_in(page, account):
    session = SessionStore()
    session[SESSION_KEY] = str(account.pk)
    session[BACKEND_SESSION_KEY] = settings.AUTHENTICATION_BACKENDS[0]
    session[HASH_SESSION_KEY] = account.get_session_auth_hash()
    session.save()
    page.context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": session.session_key, "url": urljoin(page.url, "/")}]
    )


def packed_bag(count):
    """An account with a bag of so many lenses, every other one a zoom whose zones all say something else."""
    owner = AccountFactory()
    lenses = [LensFactory(zoom=True) if number % 2 else LensFactory() for number in range(count)]
    for lens in lenses:
        zones = ("23-33", "33-47", "47-66", "66-93") if lens.is_zoom else ("33-47",)
        for place, zone in enumerate(zones):
            standing(lens, (4, 8, 5.6, 11)[place], zone=zone, leads=zone == "33-47")

    def pack(bag):
        for lens in lenses:
            bag = bag.with_lens(Carried(lens.slug))
        return bag

    change_bag(owner=owner, change=pack)
    return owner


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("count", [3, 20])
def test_the_field_card_prints_on_exactly_one_sheet(open_page, count, paper):
    owner = packed_bag(count)
    page = open_page("/method/", color_scheme="dark")
    sign_in(page, owner)
    page.goto("/bag/card/")
    assert page.locator(".card tbody tr").count() == count
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))) == 1


def test_the_card_is_black_on_white_in_legible_type_and_without_the_sites_frame(open_page):
    owner = packed_bag(20)
    page = open_page("/method/", color_scheme="dark")
    sign_in(page, owner)
    page.goto("/bag/card/")
    page.emulate_media(media="print")
    card = "getComputedStyle(document.querySelector('.card'))"
    assert page.evaluate(f"[{card}.color, {card}.backgroundColor]") == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    size = page.evaluate("parseFloat(getComputedStyle(document.querySelector('.card strong')).fontSize)")
    assert (
        size * 72 / 96 >= 10
    )  # points; 10 is the smallest common text size of books (common practice, no source)
    for hidden in (".masthead", ".off-paper", ".colophon"):
        assert not page.locator(hidden).first.is_visible()


def test_a_bag_is_packed_and_planned_by_keyboard_alone(open_page):
    lens = LensFactory(name="Marram 35 mm f/1.4")
    page = open_page("/bag/", viewport=PHONE)
    page.get_by_label("Lens", exact=True).focus()
    page.keyboard.type("marram 35")
    choice = page.get_by_role("radio", name=str(lens))
    choice.wait_for()
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.get_by_text(f"{lens} is in your bag.").wait_for()
    link = page.get_by_role("link", name="Filters and rings it needs")
    link.focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="To buy").wait_for()
    assert page.get_by_text("67 mm filter of 720 nm").first.is_visible()


def test_without_scripts_a_lens_is_chosen_among_the_nearest(open_page):
    lens = LensFactory(name="Marram 35 mm f/1.4")
    page = open_page("/bag/", scripts=False)
    page.get_by_label("Lens", exact=True).fill("marem 35")
    page.get_by_role("button", name="I own it").click()
    page.get_by_role("radio", name=str(lens)).check()
    page.get_by_role("button", name="I own it").click()
    page.get_by_role("link", name=str(lens)).wait_for()


@pytest.mark.parametrize("path", ["/bag/", "/bag/kit/", "/bag/card/", "/bag/use/", "/zoom-or-primes/"])
def test_no_page_of_the_bag_is_wider_than_a_phone(open_page, path):
    owner = packed_bag(4)
    page = open_page("/method/", viewport=PHONE)
    sign_in(page, owner)
    page.goto(path)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
