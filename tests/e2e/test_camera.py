"""The camera at the dock, in real Chromium with a fake film: what is read, counted once, in the dark and round cables."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from company.clock import now
from inventory.calc.labels import payload_of
from shows.models import Scan
from tests.builders import make_item, make_show
from tests.e2e import films
from tests.e2e.conftest import ARGUMENTS, chromium_path, session_of
from tests.e2e.test_dock import opened, wait_for_page

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")


@pytest.fixture
def dock_seeing(chromium, live_server, technician, show, tmp_path):
    """Return a function that opens the dock before a film."""
    browsers, errors = [], []

    def see(frames, *, many=False, each=6):
        film = films.film(tmp_path / "film.y4m", frames, each=each)
        fake = [
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-video-capture={film}",
        ]
        browser = chromium.browser_type.launch(executable_path=chromium_path(), args=[*ARGUMENTS, *fake])
        browsers.append(browser)
        context = browser.new_context(viewport={"width": 390, "height": 844}, base_url=live_server.url, permissions=["camera"])
        context.add_cookies([{"name": "knowngood", "value": session_of(technician), "url": live_server.url}])
        page = context.new_page()
        page.on("console", lambda m: m.type == "error" and errors.append(m.text))
        page.on("pageerror", lambda e: errors.append(str(e)))
        if many:
            page.add_init_script("localStorage.setItem('kg.many', 'yes')")
        opened(page)
        page.locator("#camera").click()
        page.locator("video.see").wait_for()
        return page

    yield see
    for browser in browsers:
        browser.close()
    assert errors == []


def codes_scanned():
    return sorted(Scan.objects.values_list("code", flat=True))


def test_a_label_in_the_middle_is_scanned_once_however_long_it_is_in_view(dock_seeing, show):
    item = make_item(name="A")
    page = dock_seeing([films.laid(films.label(payload_of(item.code, "https://gear.example.org").text))])
    wait_for_page(page, lambda: codes_scanned() == [item.code], 15)
    expect(page.locator("svg.seen polygon")).to_have_count(1)
    page.wait_for_timeout(2500)
    assert codes_scanned() == [item.code]
    page.get_by_role("button", name="Close", exact=True).click()
    expect(page.locator("video.see")).to_have_count(0)
    expect(page.locator("#hit")).to_have_attribute("data-signal", "fine")  # what was read stays in sight
    page.keyboard.type(make_item(name="B").code)
    page.keyboard.press("Enter")
    wait_for_page(page, lambda: len(codes_scanned()) == 2)


def test_a_case_laid_open_is_read_whole(dock_seeing, show):
    items = [make_item(name=f"{n}") for n in range(12)]
    page = dock_seeing([films.sheet([item.code for item in items])], many=True)
    wait_for_page(page, lambda: codes_scanned() == sorted(item.code for item in items), 20)
    page.wait_for_timeout(1500)
    assert Scan.objects.count() == 12


def test_only_the_aimed_code_is_read_where_one_is_wanted(dock_seeing, show):
    aimed, beside = make_item(name="A"), make_item(name="B")
    frame = films.laid(films.label(beside.code), at=(40, 60))
    middle = films.label(aimed.code)
    frame.paste(middle, ((films.WIDTH - middle.width) // 2, (films.HEIGHT - middle.height) // 2))
    page = dock_seeing([frame])
    wait_for_page(page, lambda: codes_scanned() == [aimed.code], 15)
    page.wait_for_timeout(1000)
    assert codes_scanned() == [aimed.code]


def test_dark_tilted_and_wrapped_labels_are_read(dock_seeing, show):
    items = [make_item(name=name) for name in ("dark", "tilted", "wrapped")]
    frames = [
        films.dark(films.laid(films.label(items[0].code))),
        films.laid(films.tilted(films.label(items[1].code))),
        films.laid(films.wrapped(films.label(items[2].code))),
    ]
    page = dock_seeing(frames, each=12)
    wait_for_page(page, lambda: codes_scanned() == sorted(item.code for item in items), 25)


def test_the_camera_can_be_refused_and_the_page_says_what_to_do(open_page, technician, show):
    page = open_page(technician)
    page.add_init_script(
        "navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException('no', 'NotAllowedError'))"
    )
    opened(page)
    page.locator("#camera").click()
    expect(page.locator("#hit")).to_contain_text("not allowed")
    expect(page.locator("video.see")).to_have_count(0)


def test_nothing_of_the_camera_is_fetched_before_it_is_opened(open_page, technician, show):
    page = open_page(technician)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    opened(page)
    page.wait_for_timeout(500)
    assert not [url for url in asked if "zxing" in url or "dock-camera" in url or "dock-decoder" in url]


def test_what_the_phone_is_too_far_from_gets_a_hint(dock_seeing, show):
    page = dock_seeing([films.ground()])
    expect(page.locator(".see-hint")).to_contain_text("Nothing read", timeout=12000)
    assert Scan.objects.count() == 0
