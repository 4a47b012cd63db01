"""Real Chromium against a live server; where there is none, one line says so, unless KG_REQUIRE_BROWSER=1 makes it fail."""

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.core.management import call_command
from django.db import connection

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")  # Playwright's loop runs in this thread; our code is not async

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def chromium_path() -> str | None:
    """Return where a Chromium lies, if there is one."""
    for found in (
        "/usr/bin/chromium",
        shutil.which("chromium"),
        shutil.which("chromium-browser"),
        shutil.which("google-chrome"),
    ):
        if found and Path(found).exists():
            return found
    return None


@pytest.fixture(scope="session")
def kept_demo(tmp_path_factory):
    return tmp_path_factory.mktemp("demo") / "demo.sqlite3"


@pytest.fixture
def demo_company(transactional_db, kept_demo):
    """Load the invented company. It takes seconds: on SQLite the first one is kept, and copied for the tests after it."""
    if kept_demo.exists():
        with closing(sqlite3.connect(kept_demo)) as kept:
            connection.ensure_connection()
            kept.backup(connection.connection)
        return
    call_command("load_catalogue", verbosity=0)
    call_command("load_demo", verbosity=0)
    if connection.vendor == "sqlite":
        with closing(sqlite3.connect(kept_demo)) as kept:
            connection.connection.backup(kept)


@pytest.fixture(scope="session")
def chromium():
    path = chromium_path()
    if path is None:
        if os.environ.get("KG_REQUIRE_BROWSER") == "1":
            pytest.fail("No Chromium was found, and KG_REQUIRE_BROWSER=1 says there must be one.")
        pytest.skip("No Chromium was found: browser tests are skipped.")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium, live_server):
    """Return a function that opens a page signed in as a person; at the end no request left this host and no error was said."""
    contexts, foreign, errors = [], [], []
    home = urlsplit(live_server.url).netloc

    def open_one(person=None, *, width=390, height=844, script=True, theme="dark", touch=False):
        context = chromium.new_context(
            viewport={"width": width, "height": height},
            java_script_enabled=script,
            base_url=live_server.url,
            has_touch=touch,
            accept_downloads=True,
        )
        contexts.append(context)
        context.add_cookies([{"name": "theme", "value": theme, "url": live_server.url}])
        if person is not None:
            context.add_cookies([{"name": "knowngood", "value": session_of(person), "url": live_server.url}])
        page = context.new_page()
        page.on("request", lambda r: urlsplit(r.url).netloc not in {home, ""} and foreign.append(r.url))
        page.on("console", lambda m: m.type == "error" and errors.append(m.text))
        page.on("pageerror", lambda e: errors.append(str(e)))
        page.set_default_timeout(8000)
        page.errors = errors
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert foreign == [], "a page asked another host"
    assert errors == [], "the console shows errors"


@pytest.fixture
def browser_page(open_page, technician):
    """One page on a phone, signed in as a technician."""
    return open_page(technician)


def session_of(person) -> str:
    """Make a session for a person, as signing in does, and return its key."""
    from django.test import Client

    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client.cookies["knowngood"].value
