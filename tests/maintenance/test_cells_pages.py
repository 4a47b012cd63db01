"""The fleet of powered devices and the rooms of the cells: what wants a person first; what cannot be is a sentence."""

import re
import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import CellSetFacts
from maintenance.calc.cell_chart import CurvePoint
from maintenance.calc.cell_plots import SetPicture, capacity_plot, left_plot, trend_plot, volts_plot
from maintenance.calc.cell_words import SwapReason
from maintenance.cell_needs import listed
from maintenance.models import CapacityTest, CellForecast, CellForecastOutcome, CellPlan, CellType, Charge, FittedSet
from tests.builders import (
    NOW,
    a_day,
    fit_cells,
    make_box,
    make_cell_type,
    make_item,
    make_lot,
    make_pull_row,
    make_show,
    make_type,
    use_on_cells,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def still(monkeypatch, company):
    """Stop the clock at NOW."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def shown(client, name: str = "cells", *args, **given) -> str:
    answer = client.get(reverse(name, args=args), given)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def make_set(**kw):
    type_ = make_type(Kind.CELL_SET, cell_size="HR6")
    make_cell_type("HR6")
    CellSetFacts.objects.create(type=type_, cells=2, capacity_mah=2000, chemistry="NiMH")
    return make_item(type=type_, **{"bought_on": a_day(-700), **kw})


def used_up_for(show_hours: float = 8):
    """Make a show that takes along a box with little left, on its cell, and one with a fresh cell."""
    tired, fresh = make_box(name="T"), make_box(name="F")
    show = make_show(load_in=NOW + timedelta(hours=8))
    for box in (tired, fresh):
        fit_cells(box)
        make_pull_row(show, type=box.type, item=box, feed="cells")
    for days in range(1, 15):
        use_on_cells(tired, 10, day=a_day(-days))
    return tired, fresh, show


def test_what_may_not_last_its_next_show_stands_first_with_why(as_hand):
    tired, fresh, show = used_up_for()
    page = shown(as_hand)
    assert page.index(tired.code[:4]) < page.index(fresh.code[:4])
    assert "1 may not last its next show" in page
    assert re.search(rf"{show.name} needs \d+; [^<]* it dies: swap", page)


def test_filters_narrow_and_say_so_when_nothing_fits(as_hand):
    tired, fresh, show = used_up_for()
    assert fresh.code[:4] not in shown(as_hand, only="below").split("fleet-rows")[1]
    assert tired.code[:4] in shown(as_hand, show=show.pk)
    assert tired.code[:4] not in shown(as_hand, type=fresh.type_id)
    assert "No device fits that." in shown(as_hand, q="harmonium")


@pytest.mark.parametrize("name", ["q", "type", "place", "show", "only", "page"])
@pytest.mark.parametrize("value", ["\0", "-1", "9" * 40, "²", "x" * 300, "None"])
def test_an_odd_filter_is_no_error(as_hand, name, value):
    make_box()
    assert as_hand.get(reverse("cells"), {name: value}).status_code == 200


def test_an_empty_house_is_told_what_to_do(as_hand):
    assert "Nothing that runs on cells is labelled yet." in shown(as_hand)
    assert "No labelled set yet." in shown(as_hand, "cell-sets")
    assert "Nothing to see to." in shown(as_hand, "cells-between")
    assert "No kind of gear runs on cells yet." in shown(as_hand, "cell-plans")


def test_what_is_not_on_record_is_asked_for_where_it_stands(as_hand):
    box = make_box()
    page = shown(as_hand)
    assert "1 not known what is left" in page and "Fresh today" in page
    as_hand.post(reverse("item-day-one", args=[box.code]), {"is": "fresh", "back": "fleet", "uid": uuid.uuid4()})
    assert FittedSet.objects.get().was_new and "Fresh today" not in shown(as_hand)


def test_no_battery_pictures_and_no_percentages(as_hand):
    used_up_for()
    page = shown(as_hand).lower()
    assert "battery" not in page and "progress" not in page and not re.search(r"\d %<", page)


def queries(client, name: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(reverse(name)).status_code == 200
    return len(seen)


@pytest.mark.parametrize("name", ["cells", "cells-between", "cell-plans", "cell-sets"])
def test_fifty_devices_take_as_many_queries_as_one(as_hand, name):
    lot = make_lot(200, expires_on=a_day(900))
    first = make_box()
    show = make_show(load_in=NOW + timedelta(hours=8))

    def one(box):
        fit_cells(box, at=NOW - timedelta(days=50), lot=lot)
        use_on_cells(box, 5, day=a_day(-45))
        make_pull_row(show, type=box.type, item=box, feed="cells")

    one(first)
    held = make_set()
    CapacityTest.objects.create(uid=uuid.uuid4(), item=held, mah=1800, done_at=NOW - timedelta(days=10))
    queries(as_hand, name)
    alone = queries(as_hand, name)
    for _ in range(49):
        one(make_item(type=first.type))
        more = make_item(type=held.type)
        CapacityTest.objects.create(uid=uuid.uuid4(), item=more, mah=1800, done_at=NOW - timedelta(days=10))
    assert queries(as_hand, name) == alone


def test_a_scan_leads_to_the_swap_of_a_device(as_hand):
    box, stand = make_box(), make_item(type=make_type(Kind.LEAD))
    assert as_hand.get(reverse("cells-scan"), {"scan": box.code}).url == reverse("item-swap", args=[box.code])
    for text, said in (("AAAAAAAA", "label"), ("", "Scan a device"), (stand.code, "does not run on cells"), ("\0", "label")):
        assert said in as_hand.get(reverse("cells-scan"), {"scan": text}, follow=True).content.decode()


def test_cells_left_in_stored_gear_are_taken_out_with_one_tap(as_hand):
    box = make_box()
    fit_cells(box, at=NOW - timedelta(days=90))
    page = shown(as_hand, "cells-between")
    assert "put away with cells in" in page and "Taken out" in page
    given = {"uid": uuid.uuid4(), "back": "between"}
    answer = as_hand.post(reverse("item-take-out", args=[box.code]), given)
    assert answer.url.startswith(reverse("cells-between"))
    assert "Nothing to see to." in shown(as_hand, "cells-between")


def test_a_type_shows_its_curve_its_figures_and_their_source(as_hand):
    row = make_cell_type()
    page = shown(as_hand, "cell-type", row.key)
    assert "mAh at" in page and "from memory" in page.lower() and "Never charge it." in page


def type_form(**given):
    row = make_cell_type()
    fields = ("name", "size", "system", "units", "nominal_v", "fresh_most_v", "end_v", "r_fresh_ohm", "r_empty_ohm", "sigma_v")
    form = {name: getattr(row, name) for name in (*fields, "keep_at_least", "source", "notes")}
    form |= {"loss_per_year": 4.5, "floor_v": 7.5, "needs_taped": "on"}
    form |= {name: "\n".join(f"{a} {b}" for a, b in getattr(row, name)) for name in ("curve", "capacity")}
    return form | given


def test_a_technician_changes_a_type_and_it_is_the_shops_own(as_hand, as_technician):
    row = make_cell_type()
    address = reverse("cell-type-edit", args=[row.key])
    assert as_hand.post(address, type_form()).status_code == 403
    assert as_technician.post(address, type_form(keep_at_least="20", loss_per_year="5")).status_code == 302
    row.refresh_from_db()
    assert row.keep_at_least == 20 and row.loss_per_year == pytest.approx(0.05) and not row.shipped


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"curve": "0 9.5\nhalf 8"}, "Line 2: write two numbers"),
        ({"curve": "0 9.5\n1 12"}, "curve"),
        ({"curve": "0 9.5"}, "curve"),
        ({"capacity": "5 -3"}, "apacit"),
        ({"nominal_v": "lots"}, "Write a number"),
        ({"units": "0"}, "At least 1."),
        ({"system": "clockwork"}, "Pick one from the list."),
        ({"name": ""}, "This is needed."),
    ],
)
def test_a_type_that_cannot_be_gets_a_sentence_and_stays_as_it_was(as_technician, given, said):
    row = make_cell_type()
    before = CellType.objects.values().get(pk=row.pk)
    answer = as_technician.post(reverse("cell-type-edit", args=[row.key]), type_form(**given))
    assert answer.status_code == 422 and said in answer.content.decode()
    assert CellType.objects.values().get(pk=row.pk) == before


def test_a_type_of_ones_own_is_added(as_technician):
    answer = as_technician.post(reverse("cell-type-add"), type_form(key="6LR61-own", name="Our own 9 V"))
    assert answer.status_code == 302 and CellType.objects.get(key="6LR61-own").name == "Our own 9 V"
    answer = as_technician.post(reverse("cell-type-add"), type_form(key="6LR61", name="Again"))
    assert answer.status_code == 422 and "these letters already" in answer.content.decode()


PLAN = {"load": "current", "draw": "4.5", "sigma": "0.45", "stops_below_v": "6", "standby_ma": "0"}
PLAN |= {"cells_a_bay": "1", "stored_weeks": "4"}


def test_a_plan_says_what_it_comes_to_and_looking_keeps_nothing(as_technician):
    box = make_box()
    address = reverse("cell-plan", args=[box.type_id])
    looked = as_technician.post(address, PLAN | {"draw": "9", "do": "look"}).content.decode()
    assert "A fresh 6LR61 lasts" in looked and "Nothing is kept yet." in looked
    assert not CellPlan.objects.exists()
    assert as_technician.post(address, PLAN | {"draw": "9", "fresh_every_show": "on"}).status_code == 302
    plan = CellPlan.objects.get()
    assert plan.draw == 9 and plan.fresh_every_show
    assert "It draws 9 mA" in shown(as_technician, "cell-plans")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"draw": "-1"}, "At least"),
        ({"draw": "much"}, "Write a number"),
        ({"cells_a_bay": "0"}, "At least 1."),
        ({"sounds_poor_below_v": "4"}, "before it stops"),
        ({"load": "magic"}, "Pick one from the list."),
        ({"stored_weeks": "1000"}, "At most 520."),
    ],
)
def test_a_plan_that_cannot_be_gets_a_sentence(as_technician, given, said):
    box = make_box()
    answer = as_technician.post(reverse("cell-plan", args=[box.type_id]), PLAN | given)
    assert answer.status_code == 422 and said in answer.content.decode()
    assert not CellPlan.objects.exists()


def test_a_sets_tests_make_a_trend_and_an_old_one_is_to_be_retired(as_hand):
    good, bad = make_set(name="1"), make_set(name="2")
    for mah in ("1900", "900"):
        item = good if mah == "1900" else bad
        given = {"mah": mah, "uid": uuid.uuid4()}
        assert as_hand.post(reverse("cell-set-test", args=[item.code]), given).status_code == 302
    page = shown(as_hand, "cell-sets")
    assert "1900 mAh" in page and "900 mAh" in page and "About" in page
    as_hand.post(reverse("item-charge", args=[good.code]), {"uid": uuid.uuid4(), "back": "sets"})
    assert Charge.objects.get().item == good and "Charged 1 time" in shown(as_hand, "cell-sets")
    test = CapacityTest.objects.get(item=bad)
    as_hand.post(reverse("item-cells-undo", args=[bad.code]), {"did": f"test.{test.uid}", "back": "sets"})
    assert CapacityTest.objects.filter(takes_back=test).exists()


@pytest.mark.parametrize(("mah", "said"), [("", "Say what the test gave."), ("0", "between 1"), ("90000", "cannot come from")])
def test_a_capacity_that_cannot_be_gets_a_sentence(as_hand, mah, said):
    item = make_set()
    answer = as_hand.post(reverse("cell-set-test", args=[item.code]), {"mah": mah, "uid": uuid.uuid4()})
    assert answer.status_code == 422 and said in answer.content.decode()
    assert not CapacityTest.objects.exists()


def foretell(item, chance: float, how: str, show: int, hours: float = 5.0) -> None:
    one = CellForecast.objects.create(
        item=item,
        show=show,
        made_at=NOW - timedelta(days=9),
        need_h=5,
        median_h=20,
        low_h=6,
        high_h=60,
        chance=chance,
        said="keep",
    )
    CellForecastOutcome.objects.create(forecast=one, how=how, hours=hours, resolved_at=NOW)


def test_few_forecasts_are_not_judged_and_a_hand_is_not_asked(as_hand, as_technician):
    assert as_hand.get(reverse("cell-forecasts")).status_code == 403
    assert "Too few to judge" in shown(as_technician, "cell-forecasts")
    box = make_box()
    foretell(box, 0.02, "survived", 1)
    foretell(box, 0.3, "died", 2, hours=4)
    foretell(box, 0.3, "swapped", 3)
    page = shown(as_technician, "cell-forecasts")
    assert "Too few to judge." in page and "48 more must come" in page and "1 was swapped before the show" in page
    assert "0 of 1 that died did so within their band" in page and "would have lasted longest" in page
    assert "1 of 2 devices died in their show; 0.3 were foretold" in page


def test_many_forecasts_that_held_are_said_to_hold(as_technician):
    box = make_box()
    for show in range(1, 301):
        foretell(box, 0.1, "died" if show % 10 == 0 else "survived", show, hours=20)
    page = shown(as_technician, "cell-forecasts")
    assert "The chances hold" in page and "30 of 30 that died did so within" in page and page.count("Brier") == 1
    assert "miscalibration" not in page and "were bad" not in page


def test_cells_saved_are_told_against_fresh_every_show(as_technician):
    box, lot = make_box(), make_lot(12, price_cents=300)
    fit_cells(box, lot=lot, at=NOW - timedelta(days=40))
    for days in range(1, 9):
        use_on_cells(box, 4, day=a_day(-days))
    page = shown(as_technician, "cell-forecasts")
    assert "1 set was fitted; fresh cells for every show would have been 8 sets: 7 cells saved." in page
    assert "21.00" in page


def point(hours: float) -> CurvePoint:
    left = max(0.0, 100 - hours)
    return CurvePoint(
        hours=hours, volts=9 - hours / 40, volts_low=8.8 - hours / 40, volts_high=9.1 - hours / 40,
        left_h=left, left_low_h=left / 2, left_high_h=left * 1.5,
    )  # fmt: skip


def test_pictures_stay_within_their_frame():
    picture = SetPicture(
        points=tuple(point(h) for h in range(0, 151, 5)), now_h=30, need_h=6, need_words="a show needs 6 h", stops_v=6.0,
        readings=((10, 8.6, "8.6 V"),), ends=((80, "one died at 80 h", True),),
    )  # fmt: skip
    for plot in (volts_plot(picture), left_plot(picture), capacity_plot([(5, 560), (500, 230)])):
        for path in (plot.band, *(d for _css, d in plot.curves)):
            places = [tuple(map(float, pair.split())) for pair in re.findall(r"[\d.-]+ [\d.-]+", path)]
            assert all(plot.left - 0.1 <= x <= plot.right + 0.1 for x, _y in places)
            assert all(plot.top - 0.1 <= y <= plot.foot + 0.1 for _x, y in places)
    assert trend_plot(tests=[(1, 1800)], middle=[(0, 2000), (2, 1700)], low=[], high=[], now_years=1).dots


def test_more_than_one_may_not_last_their_next_show(as_hand):
    used_up_for()
    used_up_for()
    assert "2 may not last their next show" in shown(as_hand)


def test_the_fleet_advises_as_the_swap_list_of_the_next_show_does_and_leads_to_it(as_hand):
    tired, fresh, show = used_up_for()
    page = shown(as_hand)
    listed_rows = {row.item.pk: row for row in listed(show.pk, NOW).rows}
    for box in (tired, fresh):
        why = listed_rows[box.pk].advised.why.rstrip(".")
        assert f"{why}." in page and f"{why}." in shown(as_hand, "item-cells", box.code)
    address = reverse("swap-list", args=[show.pk])
    assert f'href="{address}">Swap list of {show.name}' in page


def test_what_is_not_on_record_stands_below_what_wants_a_person(as_hand):
    tired, fresh, _show = used_up_for()
    unknown = [make_item(type=tired.type, name=name) for name in "ABC"]
    page = shown(as_hand).split("fleet-rows")[1]
    places = [page.index(box.code[:4]) for box in (tired, fresh, *unknown)]
    assert places[0] < places[1] < min(places[2:])


def test_a_box_whose_cells_were_taken_out_is_empty_and_named_where_a_show_asks_for_it(as_hand):
    tired, _fresh, show = used_up_for()
    fit_cells(tired, at=NOW - timedelta(hours=1), type=None)
    page = shown(as_hand)
    assert "1 has no cells in and a show asks for it" in page and "may not last" not in page
    row = next(row for row in listed(show.pk, NOW).rows if row.item == tired)
    assert row.advised.why.startswith("No cells are in it") and row.advised.why in page


def died_after(box, hours: float, days: int) -> None:
    """Let a fresh set die in use, so many days ago."""
    fit_cells(box, at=NOW - timedelta(days=days), received_at=NOW)
    use_on_cells(box, hours, day=a_day(2 - days))
    fit_cells(box, at=NOW - timedelta(days=days - 3), received_at=NOW, reason=SwapReason.DIED)


def test_a_device_whose_fresh_cells_die_time_after_time_is_named_with_what_to_do(as_hand):
    box, other = make_box(name="A"), make_box(name="B")
    for days in (60, 40, 20):
        died_after(box, 9, days)
    died_after(other, 60, 30)
    page = shown(as_hand)
    assert "1 dies early on fresh cells" in page
    # each died set was followed by one that is still in, or was swapped unused
    assert re.search(r"3 of its last \d fresh sets of 9 V alkaline \(6LR61\) died in use, half of them within 9 h\.", page)
    device = shown(as_hand, "item-cells", box.code)
    assert "died in use" in device and device.lower().count("meter in series with the clip") == 1 and "fit lithium" in device
    assert "died in use" not in shown(as_hand, "item-cells", other.code)
