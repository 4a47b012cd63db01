"""What lines need in real Chromium: read a response by keyboard, overrule a line, and all of it without script."""

import re

import pytest
from playwright.sync_api import expect

from inventory.calc.kinds import Kind
from inventory.models import InterfaceBoxFacts
from shows.models import InputLine
from tests.builders import make_item, make_show, make_source, make_type

SLOW = 20_000  # the first page of a process imports the numbers

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def line(company):
    """A passive bass, and the two boxes it may go to."""
    active = make_type(name="Active direct box", key="active-box")
    InterfaceBoxFacts.objects.create(type=active, active=True, input_ohm=1e6, output_ohm=150, runs_on_phantom=True, draw_ma=4)
    passive = make_type(name="Passive direct box", key="passive-box")
    InterfaceBoxFacts.objects.create(type=passive, turns_ratio=12, input_ohm=140_000, transformer_isolated=True)
    for type_ in (active, passive):
        assert type_.kind == Kind.INTERFACE_BOX
        make_item(type=type_)
    coil = {"sort": "pickup", "ohm": 8_000, "henry": 4.0, "own_pf": 150, "across_ohm": 250_000}
    levels = {"typical_dbu": -16, "peak_dbu": 6, "lead_mm": 5_000, "usual": ["active-box"]}
    kind = make_source("bass-passive", family="strings", way="electric", also="", **coil, **levels)
    return InputLine.objects.create(show=make_show(), number=1, source="Bass", type=kind)


def opened(page, line):
    page.goto(f"/shows/{line.show_id}/advice/", timeout=SLOW)
    expect(page.locator("h1")).to_have_text("What each line needs")
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0
    page.get_by_role("link", name=re.compile("Bass")).first.click()
    expect(page.get_by_role("heading", name="all that was weighed")).to_be_visible()
    assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0


def overrule(page, line):
    page.get_by_label("Take this mic/DI").select_option("Passive direct box")
    page.get_by_label("Why, kept in the line’s notes").fill("the active one hummed")
    page.get_by_role("button", name="Take it").click()
    expect(page.get_by_text("Chosen by hand. Into Passive direct box")).to_be_visible()
    expect(page.get_by_text("The reason kept: the active one hummed")).to_be_visible()
    line.refresh_from_db()
    assert (line.pickup.name, line.notes) == ("Passive direct box", "by hand: the active one hummed")
    page.get_by_role("button", name="Back to what is advised").click()
    expect(page.get_by_text("Chosen by hand")).to_have_count(0)
    line.refresh_from_db()
    assert line.pickup is None


def test_a_response_is_read_by_keyboard_and_a_line_overruled_on_a_phone(open_page, technician, line):
    page = open_page(technician)
    opened(page, line)
    slider = page.get_by_role("slider", name="Frequency")
    slider.focus()
    page.keyboard.press("Home")
    expect(slider).to_have_attribute(
        "aria-valuetext", re.compile(r"^20\u2009Hz: Active direct box \u22120\.\d\u2009dB; Passive direct box \u2212")
    )
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    expect(page.locator("[data-said]")).to_have_text(re.compile(r"^24\u2009Hz: Active direct box"))
    assert page.locator("[data-cross]").get_attribute("d").startswith("M")
    assert slider.bounding_box()["height"] >= 44
    overrule(page, line)


def test_without_script_the_figures_stand_in_a_table_and_a_line_is_overruled(open_page, technician, line):
    page = open_page(technician, script=False, width=1440)
    opened(page, line)
    expect(page.get_by_label("Frequency")).to_be_hidden()
    page.get_by_text("The same as a table").click()
    expect(page.get_by_role("columnheader", name="1\u2009kHz")).to_be_visible()
    overrule(page, line)
