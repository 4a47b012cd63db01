"""The dock in real Chromium, with a typed scanner: bursts, focus, answers, undo, cases, counts, swaps, no signal."""

import re
import time
import uuid
from datetime import timedelta

import pytest
from playwright.sync_api import expect

from company.clock import now
from inventory.calc.kinds import Kind
from inventory.models import CaseFacts, CountMove, Item
from inventory.services.cases import placement_record
from maintenance.models import Fault
from shows.models import Checkout, PullRow, Scan
from tests.builders import make_case, make_counted_line, make_item, make_pull_row, make_show, make_type

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")


@pytest.fixture
def dock(browser_page, show):
    return opened(browser_page)


def opened(page, path="/dock/"):
    with page.expect_response("**/dock/snapshot.json*"):
        page.goto(path)
    page.wait_for_timeout(100)
    return page


def type_scan(page, code, end="Enter"):
    """Type as a scanner does: character after character, a few milliseconds apart, then its end key."""
    page.keyboard.type(code, delay=4)
    page.keyboard.press(end)


def wait_for(what, seconds=6.0):
    """Wait until something is true of the record."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        found = what()
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError("it did not come true in time")


def wait_for_page(page, what, seconds=6.0):
    """Wait for something the browser does, which goes on only while the test asks it."""
    until = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < until, "it did not come true in time"
        page.wait_for_timeout(20)


def hit(page, signal):
    page.wait_for_selector(f'#hit[data-signal="{signal}"]')
    return page.locator("#hit").inner_text()


def focused(page) -> str:
    return page.evaluate("document.activeElement.id")


def packed(case, count):
    leads = [make_item(kind=Kind.LEAD) for _ in range(count)]
    for lead in leads:
        placement_record(uid=uuid.uuid4(), item=lead, case=case, effective_at=now() - timedelta(days=1))
    return leads


# ---- scanning -------------------------------------------------------------------------------------------------------


def test_a_scan_is_answered_and_the_count_goes_up(show, browser_page):
    item = make_item(name="A")
    make_pull_row(show, type=item.type, count=2)
    page = opened(browser_page)
    type_scan(page, item.code)
    assert "FINE" in hit(page, "fine").upper()
    expect(page.locator("#hit > .name")).to_have_text(item.label)
    expect(page.locator("#done")).to_have_text("1")
    assert Checkout.objects.get(item=item).show == show
    assert focused(page) == "code"


def test_two_scans_typed_back_to_back_are_two(dock):
    items = [make_item() for _ in range(2)]
    for item in items:
        dock.keyboard.type(item.code)
        dock.keyboard.press("Enter")
    wait_for(lambda: Checkout.objects.count() == 2)
    assert set(Scan.objects.values_list("code", flat=True)) == {item.code for item in items}


def test_a_burst_of_twelve_without_waiting_is_twelve_in_order(dock):
    items = [make_item() for _ in range(12)]
    for item in items:
        dock.keyboard.type(item.code)
        dock.keyboard.press("Enter")
    wait_for(lambda: Checkout.objects.count() == 12)
    by_seq = list(Scan.objects.order_by("seq").values_list("code", flat=True))
    assert by_seq == [item.code for item in items]
    assert dock.locator("#last li").count() == 10


def test_tab_ends_a_scan_too_and_the_focus_stays(dock):
    item = make_item()
    type_scan(dock, item.code, end="Tab")
    hit(dock, "fine")
    assert focused(dock) == "code"


def test_the_focus_comes_home_from_anywhere(dock):
    item = make_item()
    dock.locator("#sound").click()
    assert focused(dock) == "code"
    dock.locator("#hums").click()
    dock.evaluate("document.activeElement.blur()")
    type_scan(dock, item.code)
    hit(dock, "fine")
    dock.locator(".also a").first.focus()
    second = make_item()
    type_scan(dock, second.code)
    wait_for(lambda: Scan.objects.filter(code=second.code).exists())


def test_the_three_answers_differ_to_the_ear_and_the_hand(dock, show):
    dock.evaluate("window.shakes = []; navigator.vibrate = (what) => { window.shakes.push(what.length); return true; }; 0")
    other = make_show(load_in=now() + timedelta(hours=20), name="Quarry street fair")
    moved, bad = make_item(), make_item(suspect_since=now() - timedelta(days=1))
    type_scan(dock, make_item().code)
    hit(dock, "fine")
    from shows.services.dock import scan_shaped, scans_sent
    from tests.builders import make_person

    scans_sent(
        actor=make_person(),
        device="other",
        at=now(),
        scans=[scan_shaped(code=moved.code, action="out", show=other.pk, at=now() - timedelta(minutes=1))],
    )
    type_scan(dock, moved.code)
    assert "Put it back".upper() in hit(dock, "look").upper()
    type_scan(dock, bad.code)
    assert "Into the bench bag".upper() in hit(dock, "stop").upper()
    assert dock.evaluate("window.shakes") == [1, 3, 5]
    assert "stop" in dock.locator("#urgent").inner_text().lower()
    dock.get_by_role("button", name="It goes anyway").click()
    dock.locator("#sound").click()
    assert "off" in dock.locator("#sound").inner_text()
    type_scan(dock, make_item().code)
    hit(dock, "fine")
    assert len(dock.evaluate("window.shakes")) == 3


def test_a_stop_is_not_hidden_by_the_next_scan_of_a_burst(dock):
    bad, good = make_item(suspect_since=now() - timedelta(days=1)), make_item()
    dock.context.set_offline(True)
    type_scan(dock, bad.code)
    type_scan(dock, good.code)
    dock.wait_for_timeout(300)
    dock.errors.clear()  # the browser itself says that it is offline
    dock.context.set_offline(False)
    hit(dock, "stop")
    expect(dock.locator("#hit > .name")).to_have_text(bad.label)


# ---- what is visible at once on a short screen ----------------------------------------------------------------------


@pytest.mark.parametrize("theme", ["dark", "paper"])
@pytest.mark.parametrize("signal", ["fine", "look", "stop"])
def test_word_choice_and_undo_bar_are_visible_at_once(open_page, technician, show, signal, theme):
    from shows.services.dock import scan_shaped, scans_sent

    other = make_show(load_in=now() + timedelta(hours=20), name="Quarry street fair")
    item = make_item(name="A", suspect_since=now() - timedelta(days=1) if signal == "stop" else None)
    if signal == "look":
        scans_sent(
            actor=technician,
            device="other",
            at=now(),
            scans=[scan_shaped(code=item.code, action="out", show=other.pk, at=now() - timedelta(minutes=1))],
        )
    page = opened(open_page(technician, width=390, height=664, theme=theme), f"/dock/?show={show.pk}")
    type_scan(page, item.code)
    hit(page, signal)
    boxes = [page.locator("#hit .marker").bounding_box(), page.locator(".undo-bar").bounding_box()]
    if signal != "fine":
        boxes += [one.bounding_box() for one in page.locator("#hit .choose .strip").all()]
        assert len(boxes) == 4
    bar = boxes[1]
    assert bar["y"] + bar["height"] <= 664.5
    for box in boxes:
        assert box["y"] >= 0
    for box in [boxes[0], *boxes[2:]]:
        assert box["y"] + box["height"] <= bar["y"] + 1
    assert page.evaluate("scrollY") == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_every_target_on_the_dock_is_big_enough_for_a_glove(dock):
    item = make_item()
    make_counted_line(5)
    type_scan(dock, item.code)
    hit(dock, "fine")
    dock.locator("#hums").click()
    small = dock.evaluate(
        """[...document.querySelectorAll('button, .undo-bar .strip, .way a, .also a, input:not([type=hidden])')]
        .filter((one) => one.offsetParent !== null && !one.closest('.skip'))
        .map((one) => [one.textContent.trim() || one.id, (one.closest('.way .strip') ?? one).getBoundingClientRect().height])
        .filter(([, height]) => height < 44)"""
    )
    assert small == []


# ---- undo -----------------------------------------------------------------------------------------------------------


def test_undo_last_and_undo_of_an_older_one(dock):
    first, second = make_item(), make_item()
    for item in (first, second):
        type_scan(dock, item.code)
    wait_for(lambda: Checkout.objects.count() == 2)
    dock.locator("#undo button").click()
    wait_for(lambda: Checkout.objects.count() == 1)
    assert Checkout.objects.get().item == first
    dock.locator("#last li", has_text=first.code[:4]).get_by_role("button").click()
    wait_for(lambda: not Checkout.objects.exists())
    assert dock.locator("#last li[data-undone]").count() == 2
    assert focused(dock) == "code"


# ---- show and way ---------------------------------------------------------------------------------------------------


def test_one_tap_turns_and_the_device_remembers(dock):
    dock.get_by_role("button", name="Turn").click()
    assert dock.locator("header.way").get_attribute("data-way") == "truck"
    dock.get_by_role("button", name="Turn").click()
    item = make_item()
    type_scan(dock, item.code)
    wait_for(lambda: Scan.objects.filter(action="back").exists())
    opened(dock)
    assert dock.locator("header.way").get_attribute("data-way") == "back"
    assert dock.locator("#last li").count() == 1


def test_cards_are_obeyed_without_a_scan(dock, show):
    other = make_show(load_in=now() + timedelta(hours=20), name="Quarry street fair")
    opened(dock, f"/dock/?show={show.pk}")
    type_scan(dock, "DO.TRUCK")
    assert dock.locator("header.way").get_attribute("data-way") == "truck"
    type_scan(dock, f"GO.{other.pk}.OUT")
    assert dock.locator("header.way").get_attribute("data-way") == "out"
    assert "Quarry street fair" in dock.locator(".show-name").inner_text()
    item = make_item()
    type_scan(dock, item.code)
    wait_for(lambda: Checkout.objects.filter(item=item, show=other).exists())
    type_scan(dock, "DO.UNDO")
    wait_for(lambda: not Checkout.objects.exists())
    assert set(Scan.objects.values_list("action", flat=True)) == {"out", "undo"}


# ---- cases ----------------------------------------------------------------------------------------------------------


def test_a_case_waits_for_its_count_and_goes_with_it(browser_page, show):
    case = make_case(name="4")
    packed(case, 4)
    page = opened(browser_page)
    type_scan(page, case.code)
    hit(page, "ask")
    assert not Scan.objects.exists()
    page.get_by_role("button", name="Yes, 4").click()
    hit(page, "fine")
    assert Scan.objects.get().counted == 4
    assert Checkout.objects.filter(closed_at=None).count() == 5


def test_a_case_scanned_before_the_page_knows_it_still_asks_for_its_count(browser_page, show):
    case, box = make_case(name="4"), make_item()
    packed(case, 4)
    page = browser_page
    held = []
    page.route("**/dock/snapshot.json*", lambda route: held.append(route))
    page.route("**/dock/lookup?*", lambda route: held.append(route))
    page.goto("/dock/")
    type_scan(page, box.code)
    hit(page, "kept")
    type_scan(page, case.code)
    assert not Scan.objects.exists()
    page.unroute("**/dock/lookup?*")
    for route in held:
        route.continue_()
    hit(page, "ask")
    assert wait_for(lambda: Scan.objects.first()).code == box.code
    page.get_by_role("button", name="Yes, 4").click()
    counted = wait_for(lambda: Scan.objects.filter(code=case.code).first())
    assert counted.counted == 4
    assert counted.seq > Scan.objects.get(code=box.code).seq


def test_a_case_is_looked_up_alone_where_learning_everything_takes_long(browser_page, show):
    case = make_case(name="4")
    packed(case, 4)
    page = browser_page
    page.route("**/dock/snapshot.json*", lambda route: None)
    page.goto("/dock/")
    type_scan(page, case.code)
    page.get_by_role("button", name="Yes, 4").click(timeout=1400)
    assert wait_for(lambda: Scan.objects.first()).counted == 4


def test_what_nobody_can_look_up_goes_after_a_moment(browser_page, show):
    box, second = make_item(), make_item()
    page = browser_page
    page.route("**/dock/snapshot.json*", lambda route: None)
    page.route("**/dock/lookup?*", lambda route: None)
    page.goto("/dock/")
    type_scan(page, box.code)
    type_scan(page, "DO.BACK")
    type_scan(page, second.code)
    hit(page, "kept")
    wait_for_page(page, lambda: Scan.objects.count() == 2)
    sent = dict(Scan.objects.values_list("code", "action"))
    assert sent == {box.code: "out", second.code: "back"}


def test_what_is_missing_is_tapped_or_scanned(browser_page, show):
    case = make_case(name="4")
    leads = packed(case, 4)
    page = opened(browser_page)
    type_scan(page, case.code)
    page.get_by_role("button", name="Not all").click()
    type_scan(page, leads[2].code)
    page.get_by_role("button", name="That is 3").click()
    scan = wait_for(lambda: Scan.objects.first())
    assert (scan.counted, scan.missing) == (3, [leads[2].code])
    assert not Checkout.objects.filter(item=leads[2]).exists()


def test_the_next_scan_lets_an_uncounted_case_go_as_vouched(browser_page, show):
    case, after = make_case(name="4"), make_item()
    packed(case, 4)
    page = opened(browser_page)
    type_scan(page, case.code)
    type_scan(page, after.code)
    wait_for(lambda: Scan.objects.count() == 2)
    assert Scan.objects.get(code=case.code).counted is None
    assert Checkout.objects.filter(closed_at=None, evidence="vouched").count() == 4


def test_a_number_typed_is_the_count(browser_page, show):
    case = make_case(name="4")
    packed(case, 4)
    page = opened(browser_page)
    type_scan(page, case.code)
    type_scan(page, "3")
    assert wait_for(lambda: Scan.objects.first()).counted == 3


def test_a_case_left_open_is_not_lost_when_the_page_closes(browser_page, show):
    case = make_case(name="4")
    packed(case, 4)
    page = opened(browser_page)
    type_scan(page, case.code)
    hit(page, "ask")
    page.reload()
    wait_for(lambda: Scan.objects.filter(code=case.code).exists())


def test_counted_things_go_out_by_card_and_number(browser_page, show):
    line = make_counted_line(24, type=make_type(Kind.LEAD, name="Microphone lead"), length_mm=10_000)
    make_pull_row(show, type=line.type, length_mm=10_000, count=12)
    page = opened(browser_page)
    type_scan(page, f"COUNT.{line.pk}")
    type_scan(page, "10")
    wait_for(lambda: CountMove.objects.filter(show=show.pk, delta=-10).exists())
    page.locator("form.count .go").click()
    wait_for(lambda: CountMove.objects.filter(show=show.pk).count() == 2)


def test_a_counted_row_does_what_it_says_after_the_way_was_turned(browser_page, show):
    line = make_counted_line(24, type=make_type(Kind.LEAD, name="Microphone lead"), length_mm=10_000)
    make_pull_row(show, type=line.type, length_mm=10_000, count=4)
    page = opened(browser_page)
    row = page.locator("form.count")
    expect(row.locator(".go")).to_have_text("Out")
    row.locator(".go").click()
    wait_for(lambda: CountMove.objects.filter(show=show.pk, delta=-4).exists())
    page.get_by_role("button", name="Turn").click()
    page.get_by_role("button", name="Turn").click()
    expect(row.locator(".go")).to_have_text("Back")
    expect(row.locator(".count-name")).to_contain_text("4 still out")
    row.locator("[name=bad]").fill("1")
    row.locator("[name=good]").fill("3")
    row.locator(".go").click()
    wait_for(lambda: Scan.objects.filter(action="back").count() == 2)
    assert sum(CountMove.objects.filter(show=show.pk).values_list("delta", flat=True)) == 0
    page.get_by_role("button", name="Turn").click()
    expect(row.locator("[name=bad]")).to_be_hidden()


@pytest.mark.parametrize("has_signal", [True, False])
def test_another_shows_card_brings_its_own_counted_rows_and_links(browser_page, show, has_signal):
    tape, batten = make_counted_line(), make_counted_line()
    other = make_show(load_in=now() + timedelta(hours=4), name="Quarry street fair")
    make_pull_row(show, type=tape.type, length_mm=tape.length_mm, count=4)
    make_pull_row(other, type=batten.type, length_mm=batten.length_mm, count=7)
    page = opened(browser_page, f"/dock/?show={show.pk}")
    page.wait_for_load_state("networkidle")
    rows = page.locator("form.count")
    expect(rows).to_have_count(1)
    expect(rows).to_contain_text("4 wanted, 0 out")
    if not has_signal:
        page.context.set_offline(True)
    type_scan(page, f"GO.{other.pk}.out")
    expect(rows).to_contain_text("7 wanted, 0 out")
    expect(rows).to_have_count(1)
    expect(rows.get_by_label(f"How many: {batten.label}")).to_have_value("7")
    assert f"/shows/{other.pk}/truck/" in page.get_by_text("Truck check").get_attribute("href")
    rows.get_by_role("button", name=f"One less: {batten.label}").click()
    rows.get_by_role("button", name="Out").click()
    expect(rows).to_contain_text("7 wanted, 6 out")
    page.context.set_offline(False)
    wait_for_page(page, lambda: CountMove.objects.filter(line=batten, show=other.pk, delta=-6).count() == 1, 15)
    page.errors[:] = [error for error in page.errors if "ERR_INTERNET_DISCONNECTED" not in error]


def test_a_counted_row_follows_what_was_sent_and_says_what_is_too_many(browser_page, show):
    line = make_counted_line(24, type=make_type(Kind.LEAD, name="TS lead"), length_mm=10_000)
    make_pull_row(show, type=line.type, length_mm=10_000, count=2)
    page = opened(browser_page)
    row = page.locator("form.count")
    field = row.locator("input[name=good]")
    expect(field).to_have_value("2")
    field.fill("1")
    row.locator(".go").click()
    expect(row.locator(".count-name .quiet")).to_have_text("2 wanted, 1 out")
    expect(field).to_have_value("1")
    expect(page.locator("#hit .say")).to_be_in_viewport()
    field.fill("11")
    row.locator(".go").click()
    expect(page.locator("#hit .reason")).to_contain_text("12 out; the list asks for 2.")
    expect(page.locator("#hit")).to_contain_text(line.type.name)
    assert "COUN-T" not in page.locator("body").inner_text()
    expect(row.locator(".count-name .quiet")).to_have_text("2 wanted, 12 out")
    expect(field).to_have_value("0")
    page.locator("#undo button").click()
    expect(row.locator(".count-name .quiet")).to_have_text("2 wanted, 1 out")


def test_what_is_not_ours_is_named_so_and_offered_to_be_typed_again(dock):
    type_scan(dock, "https://parcels.example/track/000000000000000000000000000012345678")
    text = hit(dock, "stop")
    assert "not one of our labels" in text.lower() and "That is not a label of ours." in text
    assert len(dock.locator("#hit .stamp").inner_text().strip()) <= 40
    assert dock.locator("#hit .next").inner_text().strip().lower() == "type it again"
    dock.locator("#hit .next").click()
    assert dock.evaluate("document.getElementById('code').inputMode") == "text"
    type_scan(dock, "ABCDEFGHJK")
    dock.wait_for_selector("#hit:has-text('this has 10')")


# ---- what is wrong --------------------------------------------------------------------------------------------------


def test_it_hums_is_two_taps(dock):
    item = make_item()
    type_scan(dock, item.code)
    hit(dock, "fine")
    dock.locator("#hums").click()
    dock.get_by_role("button", name="hums", exact=True).click()
    fault = wait_for(lambda: Fault.objects.first())
    assert (fault.item, fault.symptom) == (item, "hums")
    assert focused(dock) == "code"


def test_a_dead_box_is_swapped_for_the_offered_spare(browser_page, show, technician):
    from shows.services.dock import scan_shaped, scans_sent

    box = make_type()
    dead, spare = make_item(type=box, name="A"), make_item(type=box, name="B")
    make_pull_row(show, item=dead, line="5")
    at = now() - timedelta(hours=1)
    scans = [scan_shaped(code=i.code, action="out", show=show.pk, at=at) for i in (dead, spare)]
    scans_sent(actor=technician, device="other", at=at, scans=scans)
    page = opened(browser_page)
    type_scan(page, dead.code)
    hit(page, "fine")
    page.locator("#hums").click()
    page.get_by_role("button", name="Dead: swap it").click()
    page.wait_for_selector("#hit:has-text('nearest spare')")
    assert f"{spare.code[:4]}-{spare.code[4:]}" in page.locator("#hit").inner_text()
    type_scan(page, spare.code)
    wait_for(lambda: PullRow.objects.filter(show=show, line="5", item=spare).exists())
    assert Fault.objects.get().symptom == "dead"
    dead.refresh_from_db()
    assert dead.suspect_since is not None


def test_a_suspect_thing_is_put_in_the_bag_from_the_stop(dock):
    item = make_item(suspect_since=now() - timedelta(days=1))
    type_scan(dock, item.code)
    hit(dock, "stop")
    dock.get_by_role("button", name="Into the bench bag").click()
    hit(dock, "ask")
    dock.get_by_role("button", name="No bag: put aside").click()
    wait_for(lambda: Scan.objects.filter(action="inspect", note="Into the bench bag").exists())
    wait_for(lambda: not Checkout.objects.filter(item=item, closed_at=None).exists())


@pytest.fixture
def bag(company):
    kind = make_type(Kind.CASE, name="Bench bag")
    CaseFacts.objects.create(type=kind, bench_bag=True)
    return make_item(type=kind, name="2")


def lies_in(item, bag):
    return Item.objects.get(pk=item.pk).in_case_id == bag.pk


def test_a_bags_label_opens_it_undo_takes_out_and_the_same_label_closes_it(bag, dock):
    item, after = make_item(name="A"), make_item(name="B")
    type_scan(dock, bag.code)
    expect(dock.locator("#armed-words")).to_have_text(f"Into {bag}: scan what goes in")
    assert "BAG OPEN" in hit(dock, "ask").upper()
    type_scan(dock, item.code)
    assert "suspect until it is tested" in hit(dock, "fine")
    assert lies_in(item, bag) and Fault.objects.get().withdrawn_at is None
    assert not Checkout.objects.exists()
    dock.locator("#undo button").click()
    wait_for(lambda: not lies_in(item, bag) and Fault.objects.get().withdrawn_at is not None)
    type_scan(dock, bag.code)
    expect(dock.locator("#armed")).to_be_hidden()
    type_scan(dock, after.code)
    wait_for(lambda: Checkout.objects.filter(item=after, closed_at=None).exists())
    assert not Scan.objects.filter(code=bag.code).exists()


@pytest.mark.parametrize("by", ["card", "tap", "show card", "turn", "choice"])
def test_an_open_bag_is_closed_in_any_of_these_ways(bag, dock, show, by):
    type_scan(dock, bag.code)
    expect(dock.locator("#armed")).to_be_visible()
    if by == "card":
        type_scan(dock, "DO.CLOSE")
    elif by == "show card":
        type_scan(dock, f"GO.{show.pk}.OUT")
    else:
        dock.locator({"tap": "#disarm", "turn": "header.way .turn", "choice": "#hit .choose button >> nth=0"}[by]).click()
    expect(dock.locator("#armed")).to_be_hidden()
    assert focused(dock) == "code"


def test_the_bag_card_asks_for_a_label_first_and_knows_the_last_bag_then(bag, dock):
    type_scan(dock, "DO.BAG")
    expect(dock.locator("#armed-words")).to_have_text("Bench bag: scan its label, or what goes in")
    type_scan(dock, bag.code)
    type_scan(dock, "DO.CLOSE")
    opened(dock)
    type_scan(dock, "DO.BAG")
    expect(dock.locator("#armed-words")).to_have_text(f"Into {bag}: scan what goes in")


def test_the_bag_itself_goes_by_a_tap_with_what_is_in_it(bag, browser_page, show):
    inside = make_item()
    placement_record(uid=uuid.uuid4(), item=inside, case=bag, effective_at=now() - timedelta(days=1))
    page = opened(browser_page)
    type_scan(page, bag.code)
    page.get_by_role("button", name="The bag: Out").click()
    page.get_by_role("button", name="Yes, 1").click()
    wait_for(lambda: Checkout.objects.filter(closed_at=None).count() == 2)
    expect(page.locator("#armed")).to_be_hidden()


def test_from_a_stop_into_the_bag_whose_label_is_scanned_then_into_the_last(bag, dock):
    first, second = (make_item(suspect_since=now() - timedelta(days=1)) for _ in range(2))
    type_scan(dock, first.code)
    hit(dock, "stop")
    dock.get_by_role("button", name="Into the bench bag").click()
    hit(dock, "ask")
    type_scan(dock, bag.code)
    wait_for(lambda: lies_in(first, bag))
    type_scan(dock, second.code)
    hit(dock, "stop")
    dock.get_by_role("button", name=f"Into {bag}").click()
    wait_for(lambda: lies_in(second, bag))
    assert not Checkout.objects.filter(closed_at=None).exists()


def test_scans_into_a_bag_without_signal_go_in_later(bag, dock):
    items = [make_item() for _ in range(2)]
    dock.context.set_offline(True)
    type_scan(dock, bag.code)
    for item in items:
        type_scan(dock, item.code)
    expect(dock.locator("#waiting")).to_contain_text("2 not sent")
    dock.errors.clear()  # the browser itself says that it is offline
    dock.context.set_offline(False)
    wait_for(lambda: all(lies_in(item, bag) for item in items))


def test_a_foreign_code_is_kept_as_a_stray(dock):
    from inventory.models import Stray

    type_scan(dock, "https://example.org/tag/XYZ")
    hit(dock, "stop")
    dock.get_by_role("button", name="It is a stray").click()
    wait_for(lambda: Stray.objects.filter(code_text="https://example.org/tag/XYZ").exists())


# ---- without signal, without script ---------------------------------------------------------------------------------


def test_scans_without_signal_wait_and_are_sent_once(dock):
    items = [make_item() for _ in range(3)]
    dock.context.set_offline(True)
    for item in items:
        type_scan(dock, item.code)
    assert hit(dock, "kept")
    expect(dock.locator("#waiting")).to_contain_text("3 not sent")
    bar, says = dock.locator(".undo-bar").bounding_box(), dock.locator("#waiting").bounding_box()
    assert bar["y"] <= says["y"] and says["y"] + says["height"] <= 844, "it stands where it is seen without scrolling"
    dock.errors.clear()  # the browser itself says that it is offline
    dock.context.set_offline(False)
    wait_for(lambda: Checkout.objects.count() == 3)
    assert Scan.objects.count() == 3
    expect(dock.locator("#waiting")).to_be_hidden()


def test_a_server_that_is_away_keeps_scans_through_a_reload_and_gets_them_by_itself(dock):
    items = [make_item() for _ in range(3)]
    dock.route("**/api/scans", lambda route: route.fulfill(status=503, headers={"Retry-After": "1"}, body=""))
    for item in items:
        type_scan(dock, item.code)
    expect(dock.locator("#waiting")).to_contain_text("3 not sent")
    opened(dock)
    expect(dock.locator("#waiting")).to_contain_text("3 not sent")
    assert not Scan.objects.exists()
    dock.unroute("**/api/scans")
    wait_for(lambda: Checkout.objects.count() == 3, seconds=12)
    expect(dock.locator("#waiting")).to_be_hidden()
    dock.errors.clear()  # the browser itself says that 503 came


def test_a_slow_answer_shows_at_once_that_the_scan_was_taken(dock):
    slow = []
    dock.route("**/api/scans", lambda route: slow.append(route))
    item = make_item(name="A")
    opened(dock)
    type_scan(dock, item.code)
    expect(dock.locator("#hit")).to_have_attribute("data-signal", "kept", timeout=200)
    expect(dock.locator("#hit > .name")).to_have_text(item.label)
    assert dock.locator("#last li").count() == 1 and focused(dock) == "code"
    wait_for_page(dock, lambda: slow)  # on its way, and held there
    assert not Scan.objects.exists()
    slow[0].continue_()
    hit(dock, "fine")
    assert focused(dock) == "code"


@pytest.mark.parametrize("signal", ["fine", "stop"])
def test_a_late_answer_leaves_the_turned_way_in_sight_unless_it_matters(dock, signal):
    held = []
    item = make_item(suspect_since=now() - timedelta(days=1) if signal == "stop" else None)
    dock.route("**/api/scans", lambda route: held.append(route))
    type_scan(dock, item.code)
    wait_for_page(dock, lambda: held)
    dock.get_by_role("button", name="Turn").click()
    expect(dock.locator("#hit")).to_contain_text("What you scan next is on the truck.")
    held[0].continue_()
    expect(dock.locator(f'#last li[data-signal="{signal}"]')).to_have_count(1)
    dock.wait_for_timeout(300)
    expect(dock.locator("#hit .say")).to_have_text(re.compile("stop" if signal == "stop" else "on the truck", re.I))


def test_the_other_ways_count_goes_at_once_where_the_shop_is_slow(dock, show):
    make_pull_row(show, type=make_item().type, count=2)
    opened(dock, f"/dock/?show={show.pk}")
    expect(dock.locator("#still")).to_contain_text("Still to pull")
    held = []
    dock.route("**/dock/lookup*", lambda route: held.append(route))
    dock.get_by_role("button", name="Turn").click()
    expect(dock.locator("#still")).to_have_text("Asking the shop for the count.")
    expect(dock.locator("#words")).to_have_text("")
    held[-1].continue_()
    expect(dock.locator("#words")).to_have_text("of 0 on the truck")


@pytest.mark.parametrize("script", [True, False])
def test_counted_things_are_not_counted_onto_the_truck(open_page, technician, show, script):
    line = make_counted_line()
    make_pull_row(show, type=line.type, length_mm=line.length_mm, count=4)
    page = open_page(technician, script=script)
    page.goto(f"/dock/?show={show.pk}&way=truck")
    expect(page.get_by_text("Nobody counts them onto the truck.")).to_be_visible()
    expect(page.locator("form.count")).to_be_hidden()
    if script:
        page.wait_for_load_state("networkidle")
        type_scan(page, f"COUNT.{line.pk}")
        assert "by number" in hit(page, "look")
    page.goto(f"/dock/?show={show.pk}&way=out")
    expect(page.locator("form.count")).to_be_visible()
    expect(page.get_by_text("Nobody counts them onto the truck.")).to_be_hidden()
    assert not Scan.objects.exists()


def test_what_speaks_against_a_case_is_said_before_it_is_counted(browser_page, show, technician):
    from tests.e2e.test_offline import send

    case, item = make_case(name="4"), make_item(name="A")
    placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=now() - timedelta(days=1))
    fair = make_show(load_in=now() - timedelta(hours=4), name="Quarry street fair")
    send(technician, case.code, "out", fair.pk, now() - timedelta(hours=3))
    page = opened(browser_page, f"/dock/?show={show.pk}&way=out")
    page.wait_for_load_state("networkidle")
    type_scan(page, case.code)
    expect(page.locator("#hit .say")).to_contain_text("1 inside")
    expect(page.locator("#hit .reason")).to_contain_text("it is at Quarry street fair, which is under way")
    expect(page.locator("#hit .reason")).to_contain_text("All there?")


def test_what_a_withdrawn_pass_scans_is_counted_nowhere(open_page, live_server, technician, show):
    from shows.services.passes import pass_make, pass_start, pass_withdraw

    items = [make_item(name=name) for name in "AB"]
    for item in items:
        make_pull_row(show, type=item.type, count=1)
    crew_pass, _ = pass_make(show=show, person=technician, at=now())
    _, cookie = pass_start(crew_pass=crew_pass, name="Jo", at=now())
    page = open_page()
    page.context.add_cookies([{"name": "crew", "value": cookie, "url": live_server.url}])
    page.goto("/dock/?way=out")
    page.wait_for_load_state("networkidle")
    type_scan(page, items[0].code)
    hit(page, "fine")
    expect(page.locator("#done")).to_have_text("1")
    pass_withdraw(crew_pass=crew_pass, person=technician, at=now())
    type_scan(page, items[1].code)
    assert "counts for nothing" in hit(page, "stop")
    expect(page.locator("#still")).to_have_text(re.compile("^The shop answers this phone no more: counted here"))
    expect(page.locator("#done")).to_have_text("1")


def test_a_slow_stop_is_not_hidden_by_what_was_scanned_before_it_showed(dock):
    held = []
    bad, good = make_item(suspect_since=now() - timedelta(days=1)), make_item()
    dock.route("**/api/scans", lambda route: held.append(route))
    type_scan(dock, bad.code)
    wait_for_page(dock, lambda: len(held) == 1)
    type_scan(dock, good.code)
    held[0].continue_()
    hit(dock, "stop")
    wait_for_page(dock, lambda: len(held) == 2)
    held[1].continue_()
    expect(dock.locator('#last li[data-signal="fine"]')).to_have_count(1)
    assert hit(dock, "stop")


def test_two_pages_of_one_browser_do_not_lose_each_others_scans(dock):
    other = dock.context.new_page()
    opened(other)
    items = [make_item() for _ in range(4)]
    dock.context.set_offline(True)
    for page, item in zip([dock, other, dock, other], items, strict=True):
        page.bring_to_front()
        type_scan(page, item.code)
    kept = "JSON.parse(localStorage[Object.keys(localStorage).find((k) => k.startsWith('kg.queue'))]).length"
    assert dock.evaluate(kept) == 4
    dock.context.set_offline(False)
    wait_for(lambda: Checkout.objects.count() == 4)
    assert Scan.objects.count() == 4
    dock.errors.clear()  # the browser itself says that it is offline


def test_an_answer_that_got_lost_makes_no_second_scan(dock):
    item = make_item()
    lost = []

    def lose(route):
        if not lost:
            lost.append(route.fetch())  # the shop has it; the answer never arrives
            route.abort()
        else:
            route.continue_()

    dock.route("**/api/scans", lose)
    type_scan(dock, item.code)
    hit(dock, "fine")
    assert lost and Scan.objects.count() == 1
    dock.errors.clear()  # the browser itself says that a request failed


def test_a_signed_out_device_keeps_its_scans_and_says_so(dock):
    item = make_item()
    kept = [c for c in dock.context.cookies() if c["name"] != "knowngood"]
    dock.context.clear_cookies()
    dock.context.add_cookies(kept)
    type_scan(dock, item.code)
    dock.wait_for_selector("#waiting a")
    assert "Sign in" in dock.locator("#waiting").inner_text()
    assert (
        dock.evaluate("JSON.parse(localStorage[Object.keys(localStorage).find((k) => k.startsWith('kg.queue'))]).length + ''")
        != "0"
    )
    dock.errors.clear()  # the browser itself says that 401 came


def test_everything_works_without_script(open_page, technician, show):
    item = make_item(name="A")
    page = open_page(technician, script=False)
    page.goto("/dock/")
    expect(page.locator("input:focus")).to_have_count(1)  # else the first letters fall on the floor
    page.keyboard.type(item.code)
    with page.expect_navigation(url="**/dock/?hit=*"):
        page.keyboard.press("Enter")
    assert page.locator("#hit").get_attribute("data-signal") == "fine"
    assert not page.locator("#sound").is_visible()
    with page.expect_navigation():
        page.get_by_role("button", name="Undo last").click()
    assert not Checkout.objects.exists()
    with page.expect_navigation():
        page.get_by_role("button", name="Turn").click()
    assert page.locator("header.way").get_attribute("data-way") == "truck"


def test_script_and_style_of_the_dock_stay_under_60_kb_compressed(dock):
    import gzip

    sizes = {}
    dock.on(
        "response",
        lambda r: sizes.__setitem__(r.url, len(gzip.compress(r.body(), 9))) if ".js" in r.url or ".css" in r.url else None,
    )
    opened(dock)
    dock.wait_for_load_state("networkidle")
    assert len(sizes) >= 8
    assert sum(sizes.values()) < 60_000
