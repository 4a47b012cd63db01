"""Forty things out of the shop at a scanner's pace: as a case with everything in it, and one by one. Times are in the bench."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from company.clock import now
from inventory.models import Item
from shows.models import Checkout, Scan
from tests.builders import make_case, make_item, make_pull_row, make_show, make_type
from tests.e2e.test_dock import hit, opened, packed, type_scan, wait_for_page

pytestmark = pytest.mark.django_db(transaction=True)
FORTY = 40


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")


def test_a_case_of_forty_is_one_scan_and_one_tap(show, browser_page):
    case = make_case(name="4")
    inside = packed(case, FORTY)
    page = opened(browser_page)
    type_scan(page, case.code)
    page.get_by_role("button", name=f"Yes, {FORTY}").click()
    assert f"{FORTY} counted" in hit(page, "fine")
    wait_for_page(page, lambda: Checkout.objects.filter(closed_at=None).count() == FORTY + 1, 15)
    assert Scan.objects.get().counted == FORTY
    assert set(Item.objects.filter(pk__in=[one.pk for one in inside]).values_list("custody_show", flat=True)) == {show.pk}


def test_forty_things_one_by_one_are_forty_in_order_and_the_count_says_so(show, browser_page):
    kind = make_type(name="Line box")
    items = [make_item(type=kind, name=str(n)) for n in range(FORTY)]
    make_pull_row(show, type=kind, count=FORTY)
    page = opened(browser_page)
    for item in items:
        type_scan(page, item.code)
    wait_for_page(page, lambda: Checkout.objects.count() == FORTY, 20)
    assert list(Scan.objects.order_by("seq").values_list("code", flat=True)) == [item.code for item in items]
    expect(page.locator("#done")).to_have_text(str(FORTY))
    expect(page.locator("#hit > .name")).to_have_text(items[-1].label)
