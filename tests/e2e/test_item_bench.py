"""The chart of a thing's resistance in a real browser: drawn still, read by pointing, in both themes and on paper."""

from datetime import timedelta
from io import BytesIO

import pypdfium2 as pdfium
import pytest
from playwright.sync_api import expect

from company.clock import now
from maintenance.calc.bench import Verdict
from tests.builders import make_lead
from tests.maintenance.bench_rows import bench_test, core, repair

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def lead(company):
    item = make_lead()
    for days, value, verdict in ((700, 0.21, "pass"), (400, 0.3, "pass"), (90, 0.61, Verdict.FAIL), (5, 0.22, "pass")):
        at = now() - timedelta(days=days)
        bench_test(item, verdict, done_at=at, figures=[core(value), core(0.2, "A3 to B3"), core(0.15, "A1 to B1", 0.3)])
    repair(item, done_at=now() - timedelta(days=60))
    return item


@pytest.mark.parametrize("theme", ["dark", "paper"])
def test_chart_comes_alive_and_is_read_by_pointing(lead, open_page, technician, theme):
    page = open_page(technician, width=1280, theme=theme)
    page.goto(f"/a/{lead.code}/tests/")
    expect(page.locator(".chart[data-live] canvas")).to_have_count(2)
    assert not page.locator(".chart .still").first.is_visible()
    reads, when = page.locator("[data-reads='0']").first, page.locator("[data-when]").first
    assert reads.inner_text() == "0.22\u2009\u03a9"
    over = page.locator(".u-over").first
    box = over.bounding_box()
    page.mouse.move(box["x"] + 4, box["y"] + 40)
    expect(reads).to_contain_text("0.21")
    assert "," in when.inner_text()
    page.mouse.move(5, 5)
    expect(reads).to_contain_text("0.22")
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280


def test_chart_stands_still_and_tells_itself_without_a_script(lead, open_page, technician):
    page = open_page(technician, script=False)
    page.goto(f"/a/{lead.code}")
    still = page.locator(".chart svg.still")
    assert still.is_visible() and still.get_attribute("aria-label").startswith("A2 to B2: 0.21\u2009\u03a9 at first")
    assert page.locator(".chart .limit rect").count() >= 1 and page.locator(".chart .dot.fail").count() == 1


def test_chart_prints_as_lines_and_words_whatever_the_screen_showed(lead, open_page, technician):
    page = open_page(technician, width=1280)
    page.goto(f"/a/{lead.code}/tests/")
    page.wait_for_selector(".chart[data-live] canvas")
    page.emulate_media(media="print")
    assert page.locator(".chart .still").first.is_visible() and not page.locator(".chart .live").first.is_visible()
    with pdfium.PdfDocument(BytesIO(page.pdf())) as document:
        said = " ".join(sheet.get_textpage().get_text_range() for sheet in document)
    assert "A2 to B2" in said and "at most 0.52" in said


def test_chart_grows_and_shrinks_with_the_window(lead, open_page, technician):
    page = open_page(technician, width=1280)
    page.goto(f"/a/{lead.code}")
    page.wait_for_selector(".chart[data-live] canvas")
    page.set_viewport_size({"width": 390, "height": 844})
    for _ in range(40):
        canvas, room = (page.locator(what).bounding_box()["width"] for what in (".chart .live canvas", ".chart .live"))
        if canvas <= room:
            break
        page.wait_for_timeout(50)
    assert canvas <= room < 390
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
