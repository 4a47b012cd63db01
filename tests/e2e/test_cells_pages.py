"""A device's curve in a real browser: drawn live, read by pointing, and still there without the script."""

import pytest
from django.urls import reverse

from tests.builders import a_day, fit_cells, make_box, make_company, make_person, use_on_cells

HERE = pytest.mark.django_db(transaction=True)


@pytest.fixture
def box(transactional_db):
    make_company()
    made = make_box(name="A")
    fit_cells(made)
    use_on_cells(made, 12, day=a_day(-5))
    return made


@HERE
@pytest.mark.parametrize("theme", ["dark", "paper"])
def test_the_curve_is_drawn_and_read_by_pointing_without_an_error(box, open_page, theme):
    page = open_page(make_person("hand", username="hand"), width=1440, theme=theme)
    page.goto(reverse("item-cells", args=[box.code]))
    page.locator("[data-cells]").scroll_into_view_if_needed()
    page.wait_for_selector("[data-cells][data-drawn] canvas")
    over = page.locator("[data-cells] .u-over").first
    over.hover()
    page.wait_for_function("document.querySelector('[data-when]').textContent.includes('h used')")
    assert "h left, likely" in page.locator("[data-when]").inner_text()
    assert page.errors == []


@HERE
def test_without_the_script_the_still_curve_stays(box, open_page):
    page = open_page(make_person("hand", username="hand"), script=False)
    page.goto(reverse("item-cells", args=[box.code]))
    assert page.locator("[data-cells] .still svg").count() == 2
    assert page.locator("[data-cells] .still svg").first.is_visible()
