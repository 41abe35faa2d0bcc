"""A real browser against a real server, with the task worker beside it."""

import os
import threading
from pathlib import Path

import pytest

CHROMIUM = Path(os.environ.get("CLEANSTOP_CHROMIUM", "/usr/bin/chromium"))
QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 900}


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings_parallel_suffix, tmp_path_factory):
    """On SQLite the database is a file, as in production: one in memory is shared by all threads and locks them out."""
    from django.conf import settings

    database = settings.DATABASES["default"]
    if database["ENGINE"].endswith("sqlite3"):
        database.setdefault("TEST", {})["NAME"] = str(
            tmp_path_factory.mktemp("database") / "journeys.sqlite3"
        )


@pytest.fixture(autouse=True)
def _database_for_several_threads(transactional_db):
    from django.db import connection

    if connection.vendor == "sqlite" and connection.is_in_memory_db():
        pytest.fail("Run the browser tests in a session of their own: pytest -m browser")


@pytest.fixture(scope="session")
def chromium():
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=30_000)  # for machines that are busy with other things
    # Playwright runs an event loop of its own in this thread; Django would take it for asynchronous code.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=QUIET)
        yield browser
        browser.close()
    os.environ.pop("DJANGO_ALLOW_ASYNC_UNSAFE")


@pytest.fixture
def worker(transactional_db):
    """Runs whatever is queued, in a thread of its own, as the worker beside the site does."""
    from django.db import connections

    from registry.ledger.worker import drain_tasks

    stop, broken = threading.Event(), []

    def run():
        try:
            while not stop.wait(0.2):
                drain_tasks()
        except Exception as error:  # shown by the test that waited in vain
            broken.append(error)
        finally:
            connections.close_all()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    yield broken
    stop.set()
    thread.join(timeout=30)
    assert not broken, broken


@pytest.fixture
def open_page(chromium, live_server):
    """Opens a page of the site in a window of its own; a page whose script fails or breaks the content security
    policy fails the test."""
    contexts, wrong = [], []

    def open_at(path="/", *, viewport=DESK, scripts=True, **options):
        context = chromium.new_context(
            viewport=viewport, base_url=live_server.url, java_script_enabled=scripts, **options
        )
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on(
            "console",
            lambda said: wrong.append(said.text) if "Content Security Policy" in said.text else None,
        )
        page.goto(path)
        return page

    yield open_at
    for context in contexts:
        context.close()
    assert wrong == []


@pytest.fixture
def sign_in(open_page, live_server):
    """Opens the site, signed in without the form, which has a test of its own."""

    def opened(account, **options):
        from django.test import Client

        page = open_page("/method/", **options)
        if account is not None:
            client = Client()
            client.force_login(account)
            cookie = {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}
            page.context.add_cookies([cookie])
        return page

    return opened
