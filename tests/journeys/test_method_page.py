"""The method page by keyboard: every link of its contents leads to what it names, and wide tables can be scrolled."""

import itertools

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_each_entry_of_the_contents_leads_to_its_section_and_reading_goes_on_from_there(open_page):
    page = open_page("/method/")
    entries = page.locator("main nav a[href^='#']").all()
    assert len(entries) >= 12
    for entry in entries:
        target = entry.get_attribute("href").lstrip("#")
        entry.focus()
        page.keyboard.press("Enter")
        page.wait_for_function("target => location.hash === '#' + target", arg=target)
        heading = page.locator(f"main [id='{target}']")
        assert heading.count() == 1 and heading.bounding_box()["y"] < page.viewport_size["height"]


def test_tab_reaches_every_link_in_the_order_of_reading_and_shows_where_it_is(open_page):
    page = open_page("/method/")
    wanted = page.locator("main a[href]:visible, main summary:visible, main [tabindex='0']:visible").count()
    reached = []
    page.locator("main a[href]:visible").first.focus()
    for _ in range(wanted):
        reached.append(
            page.evaluate(
                "() => { const at = document.activeElement.getBoundingClientRect();"
                " const style = getComputedStyle(document.activeElement);"
                " return [at.top + scrollY, style.outlineStyle !== 'none' || style.boxShadow !== 'none',"
                " document.querySelector('main').contains(document.activeElement)]; }"
            )
        )
        page.keyboard.press("Tab")
    assert all(inside and marked for _, marked, inside in reached)
    tops = [top for top, _, _ in reached]
    # Links in one line may differ by their height.
    assert all(later >= earlier - 40 for earlier, later in itertools.pairwise(tops))
