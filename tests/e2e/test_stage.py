"""The stage in real Chromium: a cross dragged, moved by the keyboard, saved and undone; and without script."""

import pytest
from playwright.sync_api import expect

from shows.models import InputLine, StagePlace
from tests.builders import make_show, make_venue

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def show(company):
    return make_show(name="Harvest ceilidh", venue=make_venue(name="Tithe barn", stage_width_mm=8_000, stage_depth_mm=6_000))


@pytest.fixture
def bass(show):
    mix = StagePlace.objects.create(show=show, name="Mix", sort="mix", x_mm=4_000, y_mm=-2_000)
    bass = StagePlace.objects.create(show=show, name="Bass, left", x_mm=2_000, y_mm=3_000)
    InputLine.objects.create(show=show, number=1, source="Bass", place=bass)
    assert mix.pk
    return bass


def spot(show, name) -> tuple[int, int]:
    return StagePlace.objects.values_list("x_mm", "y_mm").get(show=show, name=name)


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (390, 844)])
def test_a_cross_is_dragged_its_letters_and_run_follow_and_the_save_is_undone(open_page, technician, show, bass, width, height):
    page = open_page(technician, width=width, height=height)
    page.goto(f"/shows/{show.pk}/stage/")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    expect(page.locator("[data-how]")).to_be_visible()
    hold = page.locator(f'.hold[data-key="{bass.pk}"]')
    hold.scroll_into_view_if_needed()
    box, run = hold.bounding_box(), page.locator(f'line.run[data-key="{bass.pk}"]')
    # a metre and a bit, in the page's own pixels
    pixels = page.evaluate("document.querySelector('[data-plan]').getScreenCTM().a") * 1_000
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + pixels * 1.52, y - pixels * 0.98, steps=4)
    page.mouse.up()
    expect(page.locator(f'[data-x="{bass.pk}"]')).to_have_value("3.5")
    expect(page.locator(f'[data-y="{bass.pk}"]')).to_have_value("4")
    expect(run).to_have_attribute("x1", "3500")
    expect(run).to_have_attribute("y1", "-4000")
    expect(hold).to_have_attribute("aria-label", "Bass, left, 3.5 across, 4 upstage")
    expect(page.locator("[data-state]")).to_contain_text("Not saved yet")
    page.locator(".save-bar button").click()
    expect(page.locator(".undo-line")).to_contain_text("Saved")
    assert spot(show, "Bass, left") == (3_500, 4_000)
    page.get_by_role("button", name="Undo it").click()
    expect(page.locator(f'[data-x="{bass.pk}"]')).to_have_value("2")
    assert spot(show, "Bass, left") == (2_000, 3_000)


def test_arrow_keys_move_a_cross_a_tenth_and_with_shift_a_half(open_page, technician, show, bass):
    page = open_page(technician, width=1440, height=900)
    page.goto(f"/shows/{show.pk}/stage/")
    page.locator(f'.hold[data-key="{bass.pk}"]').focus()
    for key in ("ArrowRight", "ArrowRight", "ArrowUp", "Shift+ArrowLeft", "Shift+ArrowDown"):
        page.keyboard.press(key)
    expect(page.locator(f'[data-x="{bass.pk}"]')).to_have_value("1.7")
    expect(page.locator(f'[data-y="{bass.pk}"]')).to_have_value("2.6")
    # what is typed moves the cross
    page.locator(f'[data-x="{bass.pk}"]').fill("6.25")
    expect(page.locator(f'.hold[data-key="{bass.pk}"]')).to_have_attribute("cx", "6250")
    page.locator(".save-bar button").click()
    expect(page.locator(".undo-line")).to_contain_text("Saved")
    assert spot(show, "Bass, left") == (6_250, 2_600)


def test_without_a_script_places_are_laid_out_and_moved_by_their_figures(open_page, technician, show):
    for name in ("Drums", "Fiddle"):
        StagePlace.objects.create(show=show, name=name)
    page = open_page(technician, script=False)
    page.goto(f"/shows/{show.pk}/stage/")
    page.get_by_role("button", name="Lay them out to begin with").click()
    expect(page.locator(".undo-line")).to_contain_text("Saved")
    drums = StagePlace.objects.get(name="Drums")
    assert drums.x_mm is not None
    page.fill(f'[data-x="{drums.pk}"]', "far")
    page.fill(f'[data-y="{drums.pk}"]', "5")
    page.locator(".save-bar button").click()
    expect(page.locator(".place-row .error")).to_contain_text("Write it as 3.5")
    page.errors[:] = [error for error in page.errors if "422" not in error]  # the browser says so of every refusal
    expect(page.locator(f'[data-y="{drums.pk}"]')).to_have_value("5")
    page.fill(f'[data-x="{drums.pk}"]', "4")
    page.locator(".save-bar button").click()
    expect(page.locator(".undo-line")).to_contain_text("Saved")
    assert spot(show, "Drums") == (4_000, 5_000)


def test_a_hand_sees_the_crosses_and_has_nothing_to_drag(open_page, hand, show, bass):
    page = open_page(hand)
    page.goto(f"/shows/{show.pk}/stage/")
    expect(page.locator("svg text.name").first).to_be_visible()
    expect(page.locator(".hold")).to_have_count(0)
    expect(page.locator(".stage-form")).to_have_count(0)
