"""Take the README's pictures: the program with the demo on a record of its own, driven in Chromium, kept in docs/pictures/."""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

import pypdfium2 as pdfium
from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

ROOT = Path(__file__).resolve().parent.parent
PICTURES = ROOT / "docs" / "pictures"
COLOURS = 64
MOST_BYTES = 250_000
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]


@contextmanager
def program() -> Iterator[str]:
    """Run the program with the demo in a folder that is thrown away, and give its address."""
    with tempfile.TemporaryDirectory() as var, socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
        free.close()
        env = {**os.environ, "VAR_DIR": var, "PORT": str(port)}
        manage = [sys.executable, str(ROOT / "manage.py")]
        for command in ("migrate", "load_demo", "alerts_run"):
            subprocess.run([*manage, command], env=env, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)  # noqa: S603
        serving = [*manage, "runserver", f"127.0.0.1:{port}", "--noreload"]
        quiet = subprocess.DEVNULL
        server = subprocess.Popen(serving, env=env, cwd=ROOT, stdout=quiet, stderr=quiet)  # noqa: S603
        try:
            wait_for(f"http://127.0.0.1:{port}/health/", server)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(timeout=20)


def wait_for(address: str, server: subprocess.Popen[bytes], seconds: float = 30) -> None:
    until = time.monotonic() + seconds
    while time.monotonic() < until and server.poll() is None:
        try:
            urllib.request.urlopen(address, timeout=2)  # noqa: S310
            return
        except (urllib.error.URLError, ConnectionError):
            time.sleep(0.2)
    raise SystemExit("The program did not come up.")


def page_of(browser: Browser, address: str, *, width: int, height: int, theme: str = "dark") -> Page:
    """Open a page of its own, signed in as the demo's technician."""
    context = browser.new_context(base_url=address, viewport={"width": width, "height": height}, locale="en-GB")
    context.add_cookies([{"name": "theme", "value": theme, "url": address}])
    page = context.new_page()
    page.goto("/sign-in/")
    page.get_by_label("Name").fill("technician")
    page.get_by_label("Password").fill("saltmarsh")
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")
    return page


def keep(page: Page, name: str) -> None:
    """Write what the page shows now as a small PNG."""
    page.evaluate("document.fonts.ready")
    page.wait_for_timeout(300)
    keep_bytes(page.screenshot(), name)


def keep_bytes(png: bytes, name: str) -> None:
    picture = Image.open(BytesIO(png)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    path = PICTURES / f"{name}.png"
    picture.save(path, optimize=True)
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise SystemExit(f"{name}.png has {size} bytes, more than {MOST_BYTES}.")
    print(f"{name}.png: {picture.width} x {picture.height}, {size / 1000:.0f} kB")


def codes_to_pull(page: Page) -> list[str]:
    """Return codes that the pull list of the next show still asks for, as its printed list names them."""
    page.goto("/shows/")
    page.get_by_role("link", name="Harvest ceilidh").first.click()
    page.get_by_role("link", name="Print the pull list").click()
    return page.locator("main").inner_text().replace("-", "").split()


def dock(browser: Browser, address: str) -> None:
    page = page_of(browser, address, width=390, height=844)
    spelled = [word for word in codes_to_pull(page) if len(word) == 8 and word.isalnum() and word.upper() == word]
    page.goto("/shows/")
    page.get_by_role("link", name="Harvest ceilidh").first.click()
    with page.expect_response("**/dock/snapshot.json*"):  # the script is at work then
        page.get_by_role("link", name="Scan it out").click()
    for code in spelled[:1]:
        page.keyboard.type(code, delay=4)
        page.keyboard.press("Enter")
        page.wait_for_selector('#hit[data-signal="fine"], #hit[data-signal="look"]')
    keep(page, "dock")
    no_signal(page, spelled[1:4])


def no_signal(page: Page, codes: list[str]) -> None:
    """Show the dock opened and answering without a network, with what waits."""
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    with page.expect_response("**/dock/snapshot.json*"):
        page.reload()  # now through the worker, which keeps the page and what it knows
    page.wait_for_timeout(500)
    page.context.set_offline(True)
    page.reload()
    page.locator("form.has-script").wait_for()
    for number, code in enumerate(codes, 1):
        page.keyboard.type(code, delay=4)
        page.keyboard.press("Enter")
        page.get_by_text(f"{number} not sent").wait_for()
    keep(page, "no-signal")


def phone(browser: Browser, address: str) -> None:
    """Show what works on a phone, each trial with its answer."""
    page = page_of(browser, address, width=390, height=844)
    page.goto("/phone/")
    page.locator("[data-checks][data-done]").wait_for()
    keep(page, "phone")


def paper(page: Page) -> None:
    """Print the pull list of the show that is not packed yet, and show the sheet."""
    page.goto("/shows/")
    page.get_by_role("link", name="Barn dance").first.click()
    page.get_by_role("link", name="Print the pull list").click()
    with pdfium.PdfDocument(BytesIO(page.pdf(format="A4", prefer_css_page_size=True))) as document:
        png = BytesIO()
        document[0].render(scale=96 / 72).to_pil().save(png, "png")
    keep_bytes(png.getvalue(), "pull-list")


def verdict(page: Page) -> None:
    """Show the newest lead that failed: its drawing beside the reasons."""
    page.goto("/bench/sittings/")
    page.locator(".evenings li").filter(has_text="bad").first.get_by_role("link").click()
    page.locator("main a[href^='/bench/tests/']").filter(has_text="Fail").first.click()
    keep(page, "verdict")


def cells(page: Page) -> None:
    """Show what is left in each device against what its next show needs."""
    page.goto("/cells/")
    keep(page, "cells")


def plan(page: Page) -> None:
    """Show why tonight's show is not ready, and what making the list of a later one would do."""
    for name, room, words in (("Harvest ceilidh", "ready", "Is it ready"), ("Barn dance", "make-pull", "Make the pull list")):
        page.goto("/shows/")
        page.get_by_role("link", name=name).first.click()
        page.goto(f"{page.url.split('?')[0]}{room}/")
        page.get_by_role("heading", name=words).first.wait_for()
        keep(page, room)


def alerts(page: Page) -> None:
    page.goto("/alerts/")
    keep(page, "alerts")


def swaps(browser: Browser, address: str) -> None:
    """Show the swap list of the next show on a phone."""
    page = page_of(browser, address, width=390, height=844)
    page.goto("/shows/")
    page.get_by_role("link", name="Harvest ceilidh").first.click()
    page.locator("a[href^='/cells/swaps/']").first.click()
    keep(page, "swaps")


def main() -> None:
    chromium = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    if chromium is None:
        raise SystemExit("No Chromium was found: install the package chromium.")
    PICTURES.mkdir(parents=True, exist_ok=True)
    with program() as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        page = page_of(browser, address, width=1440, height=1000)
        page.goto("/")
        keep(page, "start")
        page.goto("/find/?q=active direct box")
        page.locator("main a.strip").first.click()
        keep(page, "item")
        page.goto("/labels/?what=type&type=" + first_type(page))
        keep(page, "labels")
        page.goto("/bench/")
        keep(page, "bench")
        verdict(page)
        cells(page)
        plan(page)
        alerts(page)
        swaps(browser, address)
        phone(browser, address)
        paper(page)
        dock(browser, address)
        browser.close()


def first_type(page: Page) -> str:
    """Return the key of the type with the most to show on a sheet: active direct boxes."""
    page.goto("/labels/?what=type")
    return page.get_by_label("Type").locator("option", has_text="Active direct box").first.get_attribute("value") or ""


if __name__ == "__main__":
    main()
