"""What people do in a browser on their way through the site."""

import base64

import pytest
from playwright.sync_api import expect

from tests.factories import PASSWORD


def payload(name, content, kind="image/jpeg"):
    return {"name": name, "mimeType": kind, "buffer": content}


def sign_up(page, name="Wren"):
    page.get_by_label("Name shown on your reports").fill(name)
    page.get_by_label("Email").fill(f"{name.lower()}@saltmarsh.example")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Make the account").click()


def describe_the_test(page):
    page.get_by_label("Camera body").fill("Osterby Causey 2")
    page.get_by_label("Conversion", exact=True).select_option("full-spectrum")
    page.get_by_label("Filter on the lens").select_option("ferrow-dusk-720")
    page.get_by_label("Where the filter sat").select_option("front")
    page.get_by_role("button", name="Go on", exact=True).click()


def drop(page, files):
    """Drop files onto the page, as from a folder's window."""
    transfer = page.evaluate_handle(
        """files => {
            const transfer = new DataTransfer();
            for (const file of files) {
                const bytes = Uint8Array.from(atob(file.content), sign => sign.charCodeAt(0));
                transfer.items.add(new File([bytes], file.name, {type: "image/jpeg"}));
            }
            return transfer;
        }""",
        [{"name": file["name"], "content": base64.b64encode(file["buffer"]).decode()} for file in files],
    )
    page.dispatch_event("#drop", "drop", {"dataTransfer": transfer})


def wait_until_measured(page, count):
    said = f"{count} frames here: {count} measured."
    expect(page.locator("#arrivals > p")).to_have_text(said, timeout=60_000)


def reload_until(page, selector, words, seconds=60):
    """For what changes behind a page that does not ask again by itself."""
    for _ in range(2 * seconds):
        if words in page.locator(selector).inner_text():
            return
        page.wait_for_timeout(500)
        page.goto(page.url)
    pytest.fail(f"“{words}” did not come up within {seconds} s: {page.locator(selector).inner_text()[:500]}")
