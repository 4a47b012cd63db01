"""The input list in real Chromium: a sheet pasted, lines moved by keyboard, a wrong cell, save and undo; and without script."""

import pytest
from playwright.sync_api import expect

from company.clock import now
from inventory.calc.kinds import Kind
from shows.calc.line_judging import Line
from shows.models import InputLine
from shows.services.input_lines import lines_save
from tests.builders import make_show, make_source, make_type

pytestmark = pytest.mark.django_db(transaction=True)

SIXTEEN = """Ch\tInstrument\tMic/DI\tPosition\tNotes
1\tKick\t\tDrums\t
2\tSnare\t\tDrums\t
3\tHat\t\tDrums\t
4\tTom\t\tDrums\t
5\tOverhead L/R\t\tDrums\t
7\tBass\tActive direct box\tBass\t
8\tGuitar\tActve direct box\tGuitar\t
9\tKeys L/R\t\tKeys\t
11\tTrumpet\t\tBrass\t
12\tSax\t\tBrass\t"with clip, their own"
13\tLead vox\t\tFront\t
14\tVoice 2\t\tKeys\t
Outputs
1\tMix front\t\tFront\t
2\tMix drums\t\tDrums\t
"""

PASTE = """text => {
  const data = new DataTransfer();
  data.setData("text/plain", text);
  document.activeElement.dispatchEvent(new ClipboardEvent("paste", { clipboardData: data, bubbles: true, cancelable: true }));
}"""


@pytest.fixture
def show(company):
    make_source("kick", name="Bass drum", family="drums", also="kick")
    make_source("snare", name="Snare drum", family="drums", also="snare")
    make_source("voice", name="Voice", also="vox, voice")
    make_source("keys", name="Keyboard", family="keys", also="keys", lines=2)
    make_source("out-monitor", name="Monitor mix", family="output", also="mix")
    make_type(Kind.INTERFACE_BOX, name="Active direct box")
    return make_show(name="Harvest ceilidh")


def cell(page, row: int, key: str):
    return page.locator(f'[data-row="{row}"][data-key="{key}"]')


def forget_refusals(page):
    """Take out of the console's errors that a save was refused: the browser says so of every 422."""
    page.errors[:] = [error for error in page.errors if "422" not in error]


def sources(show) -> list[str]:
    return list(InputLine.objects.filter(show=show, way="in").order_by("number").values_list("source", flat=True))


def test_a_sheet_is_pasted_moved_mended_saved_and_undone_by_keyboard(open_page, technician, show):
    page = open_page(technician, width=1440, height=900)
    page.goto(f"/shows/{show.pk}/lines/")
    page.wait_for_selector("table.grid")
    cell(page, 0, "source").focus()
    page.evaluate(PASTE, SIXTEEN)
    expect(page.locator("[data-state]")).to_contain_text("Read 16 lines")
    expect(cell(page, 4, "source")).to_have_value("Overhead L")
    expect(cell(page, 0, "kind")).to_have_value("Bass drum")

    # a wrong cell is marked, with the sentence under it and what it could be
    wrong = cell(page, 7, "pickup")
    expect(wrong).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#says-7")).to_contain_text("is no mic/DI of ours")
    page.click("[data-bar] button.next")
    expect(page.locator("#wrong")).to_contain_text("Not saved yet: one cell keeps")
    forget_refusals(page)
    assert sources(show) == []
    page.locator("#says-7 [data-take]").click()
    expect(cell(page, 7, "pickup")).to_have_value("Active direct box")
    expect(page.locator("#says-7 .stop")).to_have_count(0)

    # the tape moves, the numbers stay: Snare goes up over Kick
    cell(page, 1, "source").focus()
    page.keyboard.press("Alt+ArrowUp")
    expect(cell(page, 0, "source")).to_have_value("Snare")
    expect(cell(page, 0, "number")).to_have_value("1")
    expect(cell(page, 0, "source")).to_be_focused()
    page.keyboard.press("Control+z")
    expect(cell(page, 0, "source")).to_have_value("Kick")
    page.keyboard.press("Control+y")
    expect(cell(page, 0, "source")).to_have_value("Snare")

    # typing, arrows, Tab, Enter, Home and End, Escape, Delete
    cell(page, 3, "player").focus()
    page.keyboard.type("Ines")
    page.keyboard.press("Enter")
    expect(cell(page, 4, "player")).to_be_focused()
    page.keyboard.press("ArrowUp")
    page.keyboard.type("Jo")
    page.keyboard.press("Escape")
    expect(cell(page, 3, "player")).to_have_value("Ines")
    page.keyboard.press("Tab")
    expect(cell(page, 3, "where")).to_be_focused()
    page.keyboard.press("Home")
    expect(cell(page, 3, "number")).to_be_focused()
    page.keyboard.press("End")
    expect(cell(page, 3, "notes")).to_be_focused()
    page.keyboard.press("Home")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.type("sna")
    expect(page.locator("#offers [role=option]")).to_have_text(["Snare drum"])
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    expect(cell(page, 3, "kind")).to_have_value("Snare drum")
    cell(page, 3, "player").focus()
    page.keyboard.press("Delete")
    expect(cell(page, 3, "player")).to_have_value("")

    # a line put in makes room, a line taken out comes back
    cell(page, 13, "source").focus()
    page.keyboard.press("Control+Enter")
    page.keyboard.type("Voice 3")
    page.keyboard.press("Tab")
    expect(cell(page, 14, "number")).to_have_value("15")
    cell(page, 2, "source").focus()
    page.keyboard.press("Control+Delete")
    expect(cell(page, 2, "source")).to_have_value("Tom")
    page.keyboard.press("Control+z")
    expect(cell(page, 2, "source")).to_have_value("Hat")

    page.keyboard.press("Control+s")
    expect(page.locator(".messages")).to_contain_text("17 lines added")
    assert sources(show)[:3] == ["Snare", "Kick", "Hat"] and sources(show)[-1] == "Voice 3"
    assert InputLine.objects.get(source="Sax").notes == "with clip, their own"
    page.reload()
    expect(cell(page, 0, "source")).to_have_value("Snare")
    page.get_by_role("button", name="Undo the last save").click()
    expect(page.locator(".messages")).to_contain_text("Undone")
    assert sources(show) == []


def test_leaving_with_changes_asks_first_and_escape_leaves_the_grid(open_page, technician, show):
    lines_save(show=show, rows=[Line(number=1, source="Kick", kind="kick")], person=technician, at=now())
    page = open_page(technician, width=390, touch=True)
    page.goto(f"/shows/{show.pk}/lines/")
    page.wait_for_selector("table.grid")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    cell(page, 0, "source").focus()
    page.keyboard.press("Escape")
    page.keyboard.press("Tab")
    assert not page.evaluate("document.activeElement.matches('[data-key]')")
    page.get_by_role("button", name="Line below").tap()
    page.keyboard.type("Snare")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Undo the last save").tap()
    expect(page.locator("[data-state]")).to_contain_text("is not saved")
    page.locator("[value=save]").tap()
    expect(page.locator(".messages")).to_contain_text("1 line added")
    assert sources(show) == ["Kick", "Snare"]


def test_without_a_script_the_list_is_one_field(open_page, technician, show):
    page = open_page(technician, script=False)
    page.goto(f"/shows/{show.pk}/lines/")
    page.fill("#grid", SIXTEEN)
    page.locator("[value=save]").click()
    expect(page.locator("#wrong")).to_contain_text("one cell keeps the list")
    forget_refusals(page)
    expect(page.locator(".stops")).to_contain_text("Line 8, Guitar, mic/di:")
    page.fill("#grid", page.input_value("#grid").replace("Actve", "Active"))
    page.locator("[value=save]").click()
    expect(page.locator(".messages")).to_contain_text("16 lines added")
    assert "Overhead L" in page.input_value("#grid")
    assert len(sources(show)) == 14
