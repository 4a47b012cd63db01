"""Phones on the shop's network: `start --lan` for real, and Chromium that trusts the shop's root, or does not.

Everything stays on this machine: the shop's address is a loopback one, and the browser is told that the shop's name lies there.
A loopback address is secure to a browser whatever it speaks, a name under .local is not: so the name shows what a phone sees.
"""

import os
import re
import shutil
import signal
import ssl
import subprocess
import threading
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from ipaddress import ip_address

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from playwright.sync_api import Error, expect

from company.certificates import _leaf, root_read
from inventory.calc.codes import spell
from tests.company.test_supervisor import Started, free_port, until
from tests.e2e import films
from tests.e2e.conftest import ARGUMENTS, chromium_path
from tests.e2e.own_shop import COMPANY, PASSWORD, OwnShop
from tests.e2e.test_dock import hit, opened, type_scan, wait_for_page

HOST, NAME, STRANGE = "127.0.0.77", "knowngood.local", "bank.example.org"
GEAR = f"""{COMPANY}
show = make_show(load_in=at + timedelta(hours=2), name="Harvest ceilidh")
print(show.pk, make_item(name="A").code, make_item(name="B").code)
"""


class Lan:
    """The shop as phones reach it."""

    def __init__(self, shop: OwnShop, started: Started, tls_port: int, given: list[str]) -> None:
        self.shop, self.started = shop, started
        self.plain, self.secure = f"http://{NAME}:{shop.port}", f"https://{NAME}:{tls_port}"
        self.by_address = f"https://{HOST}:{tls_port}"
        self.tls_port, self.folder = tls_port, shop.var / "tls"
        self.show, self.codes = int(given[0]), given[1:]

    def scans(self) -> list[str]:
        return [code for (code,) in self.shop.rows("select code from shows_scan order by received_at, seq")]

    def stop(self) -> None:
        self.started.process.send_signal(signal.SIGTERM)
        assert self.started.process.wait(70) == 0, self.started.said()


@pytest.fixture(scope="module")
def lan(tmp_path_factory):
    shop = OwnShop(tmp_path_factory.mktemp("lan"))
    given = shop.python(GEAR).splitlines()[-1].split()
    port = free_port()
    started = Started(shop.var, "--lan", PORT=str(shop.port), LAN_HOST=HOST, TLS_PORT=str(port))
    try:
        until(lambda: started.health() == 200)
        until(lambda: "SHA-256" in started.said())
        yield Lan(shop, started, port, given)
    finally:
        started.close()


@pytest.fixture
def root(lan, tmp_path):
    """Put the shop's root where Chromium on Linux looks for what its owner trusts: in a home of its own."""
    certutil = shutil.which("certutil")
    if certutil is None:
        if os.environ.get("KG_REQUIRE_BROWSER") == "1":
            pytest.fail("No certutil was found (package libnss3-tools), and KG_REQUIRE_BROWSER=1 says there must be one.")
        pytest.skip("No certutil was found (package libnss3-tools): a browser that trusts the shop's root is not tried.")
    home = tmp_path / "trusting"
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    for command in (["-N", "--empty-password"], ["-A", "-t", "C,,", "-n", "shop root", "-i", str(lan.folder / "root.pem")]):
        subprocess.run([certutil, "-d", f"sql:{store}", *command], check=True, timeout=30)
    return home


@pytest.fixture
def phone(chromium, tmp_path):
    """Return a function that gives a browser with a home of its own, which finds the shop's name on this machine."""
    contexts, errors = [], []

    def take(home, *more):
        names = f"--host-resolver-rules=MAP {NAME} {HOST}, MAP {STRANGE} 127.0.0.1"
        context = chromium.browser_type.launch_persistent_context(
            tmp_path / f"profile-{len(contexts)}",
            executable_path=chromium_path(),
            args=[*ARGUMENTS, names, *more],
            env={**os.environ, "HOME": str(home)},
            viewport={"width": 390, "height": 844},
            permissions=[
                "camera",
                "screen-wake-lock",
            ],  # a phone grants the second unasked; a browser without a screen does not
        )
        contexts.append(context)
        context.set_default_timeout(15_000)
        context.on("console", lambda m: m.type == "error" and errors.append(m.text))
        context.on("weberror", lambda error: errors.append(str(error.error)))
        return context

    yield take
    for context in contexts:
        context.close()
    # what a browser itself says of a shop that was stopped, of a certificate it refuses, of a page that is not secure
    expected = re.compile(r"ERR_CONNECTION_REFUSED|ERR_CERT|Cross-Origin-Opener-Policy header has been ignored")
    assert [error for error in errors if not expected.search(error)] == []


def sign_in(page, home):
    page.goto(f"{home}/sign-in/?next=/shows/")
    page.get_by_label("Name").fill("ines")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/shows/")


def film_of(folder, code):
    made = films.film(folder / "film.y4m", [films.laid(films.label(code))])
    return [
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={made}",
    ]


def words_of(page, check):
    return page.locator(f"[data-check={check}]").inner_text()


@contextmanager
def served(folder):
    """Serve one page with the leaf in a folder."""

    class Page(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"<h1>Come in</h1>")

        def log_message(self, *_args):
            pass

    told = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    told.load_cert_chain(folder / "leaf.pem", folder / "leaf.key")
    server = ThreadingHTTPServer(("127.0.0.1", 0), Page)
    server.socket = told.wrap_socket(server.socket, server_side=True)
    serving = threading.Thread(target=server.serve_forever, daemon=True)
    serving.start()
    try:
        yield server.server_port
    finally:
        server.shutdown()
        server.server_close()
        serving.join(10)


def leaf_for(lan, folder, names):
    """Sign a certificate with the shop's own key, as a thief of that key could, for any name."""
    folder.mkdir()
    key = serialization.load_pem_private_key((lan.folder / "root.key").read_bytes(), password=None)
    ips = [ip_address("127.0.0.1")]
    _leaf(folder, root_key=key, root=root_read(lan.folder), ips=ips, names=names, at=datetime.now(UTC))
    return folder


def test_the_demo_is_not_let_onto_a_network(tmp_path):
    shop = OwnShop(tmp_path)
    shop.python(
        f"{COMPANY}\nfrom company.clock import today\ncompany.is_demo, company.demo_dated = True, today()\ncompany.save()"
    )
    started = Started(tmp_path, "--lan", PORT=str(shop.port), LAN_HOST="0.0.0.0", TLS_PORT=str(free_port()))
    try:
        assert started.process.wait(60) != 0
        said = started.said()
        assert "This is the demo, whose passwords are known to everybody" in said and "--lan" in said
        assert "Traceback" not in said and shop.health() == 0
        assert not (tmp_path / "tls").exists(), "no root was made"
    finally:
        started.close()


# ---- with the root --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("by", ["secure", "by_address"])
def test_a_phone_that_trusts_the_root_tests_all_as_working(lan, root, phone, tmp_path, by):
    page = phone(root, *film_of(tmp_path, lan.codes[0])).new_page()
    home = getattr(lan, by)
    page.goto(f"{home}/phone/")
    page.locator("[data-checks][data-done=yes]").wait_for()
    assert page.evaluate("isSecureContext") is True
    page.get_by_role("button", name="Try the camera").click()
    expect(page.locator("[data-check=camera]")).to_contain_text("works")
    standings = page.locator("[data-checks] .strip").evaluate_all("all => all.map((one) => one.dataset.standing)")
    assert standings == ["known-good"] * 6, page.locator("[data-checks]").inner_text()
    page.reload()
    wait_for_page(page, lambda: page.evaluate("navigator.serviceWorker.controller !== null"))


def test_a_name_the_root_may_not_vouch_for_is_refused(lan, root, phone, tmp_path):
    page = phone(root).new_page()
    with served(leaf_for(lan, tmp_path / "ours", [NAME])) as port:
        page.goto(f"https://127.0.0.1:{port}/")
        assert page.locator("h1").inner_text() == "Come in", "the same key vouches for this machine"
    with served(leaf_for(lan, tmp_path / "strange", [STRANGE])) as port:
        with pytest.raises(Error, match="ERR_CERT_"):
            page.goto(f"https://{STRANGE}:{port}/")
        with pytest.raises(Error, match="ERR_CERT_"):
            page.goto(f"https://127.0.0.1:{port}/")


# ---- without it -----------------------------------------------------------------------------------------------------


def test_without_the_root_the_browser_refuses_and_the_plain_page_says_what_does_not_work(lan, phone, tmp_path):
    home = tmp_path / "strange-home"
    home.mkdir()
    context = phone(home)
    with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
        context.new_page().goto(f"{lan.secure}/phone/")
    page = context.new_page()
    page.goto(f"{lan.plain}/phone/")
    page.locator("[data-checks][data-done=yes]").wait_for()
    assert page.evaluate("isSecureContext") is False
    expect(page.get_by_role("link", name="Fetch the shop's root")).to_be_visible()
    assert "Typing and hand scanners work here too" in words_of(page, "secure")
    assert "A page must be secure for it." in words_of(page, "camera")
    assert "Keep the dock page open" in words_of(page, "offline")
    assert "Set a long screen time-out" in words_of(page, "awake")
    assert page.locator("[data-check=storage] .strip").get_attribute("data-standing") == "known-good"
    with page.expect_download() as fetched:
        page.get_by_role("link", name="Fetch the shop's root").click()
    made = x509.load_der_x509_certificate(fetched.value.path().read_bytes())
    assert made == root_read(lan.folder)

    sign_in(page, lan.plain)
    opened(page, f"{lan.plain}/dock/?show={lan.show}")
    assert page.locator("#camera").is_hidden(), "no key for what cannot work"
    type_scan(page, lan.codes[1])
    assert "Out to Harvest ceilidh" in hit(page, "fine")
    wait_for_page(page, lambda: lan.scans().count(lan.codes[1]) == 1)


# ---- the whole way --------------------------------------------------------------------------------------------------


def test_z_the_camera_reads_and_the_dock_opens_with_the_shop_stopped(lan, root, phone, tmp_path):
    """Last in this file: it stops the shop."""
    code = lan.codes[0]
    context = phone(root, *film_of(tmp_path, code))
    page = context.new_page()
    sign_in(page, lan.secure)
    opened(page, f"{lan.secure}/dock/?show={lan.show}")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    wait_for_page(page, lambda: page.evaluate("navigator.serviceWorker.controller !== null"))
    opened(page, f"{lan.secure}/dock/")  # through the worker, which keeps it
    page.locator("#camera").click()
    wait_for_page(page, lambda: lan.scans().count(code) == 1, 30)
    assert "Out to Harvest ceilidh" in hit(page, "fine")
    page.wait_for_timeout(500)  # the phone writes down what it was answered
    page.close()

    lan.stop()
    page = context.new_page()
    page.goto(f"{lan.secure}/dock/")
    expect(page.locator("#code")).to_be_visible()
    page.locator("#camera").click()
    expect(page.locator("#waiting")).to_contain_text("1 not sent", timeout=30_000)
    expect(page.locator("#hit")).to_contain_text("Already out to Harvest ceilidh")
    words = page.locator("#hit").inner_text()
    assert "Not sent yet" in words and spell(code) in words
    assert lan.shop.rows("select count(*) from shows_scan where code = ?", code) == [(1,)]
