"""The dock without a network, in real Chromium: it opens cold, answers by the shop's rules, and sends by itself later."""

import json
import re
import uuid
from datetime import timedelta

import pytest
from playwright.sync_api import expect

from company.clock import now
from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.services.cases import placement_record
from maintenance.services.faults import fault_open
from shows.models import Contradiction, Scan
from tests.builders import make_case, make_counted_line, make_item, make_pull_row, make_show, make_type
from tests.e2e.test_dock import hit, opened, type_scan, wait_for, wait_for_page

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")


def forgiven(page):
    """A browser says aloud that it has no network; nothing else it says is let pass."""
    page.errors[:] = [error for error in page.errors if "ERR_INTERNET_DISCONNECTED" not in error]


def kept(page, show):
    """Open the dock once where there is signal, until the browser has kept it."""
    opened(page, f"/dock/?show={show.pk}")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    with page.expect_response("**/dock/snapshot.json*"):
        page.reload()  # now through the worker, which keeps page and snapshot
    page.wait_for_timeout(200)
    return page


@pytest.fixture
def cold(open_page, technician, show):
    """Return a function that opens the dock in a new page of a browser that has no network."""
    pages = []

    def start():
        page = kept(open_page(technician), show)
        pages.append(page)
        context = page.context
        page.close()
        context.set_offline(True)
        page = context.new_page()
        page.set_default_timeout(8000)
        page.goto("/dock/")
        page.wait_for_timeout(300)
        return page

    yield start
    for page in pages:
        forgiven(page)


def waiting(page):
    """Return the scans that wait to be sent."""
    keys = "Object.keys(localStorage).filter((key) => key.startsWith('kg.queue.'))"
    return page.evaluate(f"{keys}.flatMap((key) => JSON.parse(localStorage[key])).map((scan) => scan.body)")


def test_it_opens_cold_and_answers_each_scan_at_once(cold, show, technician):
    good, bad, elsewhere = make_item(name="A"), make_item(name="B"), make_item(name="C")
    fault_open(uid=uuid.uuid4(), item=bad, symptom="hums", at=now() - timedelta(days=1), person=None)
    fair = make_show(load_in=now() - timedelta(hours=4), name="Quarry street fair")
    send(technician, elsewhere.code, "out", fair.pk, now() - timedelta(hours=3))
    page = cold()
    type_scan(page, good.code)
    assert "Out to" in hit(page, "fine") and "Not sent yet" in page.locator("#hit").inner_text()
    assert good.label.upper() in page.locator("#hit").inner_text().upper()
    type_scan(page, bad.code)
    assert "suspect since" in hit(page, "stop").lower()
    page.wait_for_timeout(500)  # what is scanned so soon after a stop does not hide it
    type_scan(page, elsewhere.code)
    assert "under way" in hit(page, "look")
    expect(page.locator("#waiting")).to_contain_text("3 not sent")
    mine = Scan.objects.exclude(device="other")
    assert mine.count() == 0
    assert [body["said"] for body in waiting(page)] == ["fine", "stop", "look"]
    page.context.set_offline(False)
    wait_for_page(page, lambda: mine.count() == 3, 15)
    wait_for_page(page, lambda: not waiting(page))
    assert Item.objects.get(pk=good.pk).custody_show == show.pk
    assert list(mine.order_by("seq").values_list("signal", flat=True)) == ["fine", "stop", "look"]
    # what the phone said was right: nobody is called to look
    assert not Contradiction.objects.filter(kind="the phone said otherwise").exists()


def test_the_count_goes_on_without_the_shop_and_says_since_when(open_page, technician, show):
    items = [make_item(name=name) for name in "AB"]
    page = kept(open_page(technician), show)
    for item in items:
        make_pull_row(show, type=item.type, count=1)
    with page.expect_response("**/dock/snapshot.json*"):
        page.reload()
    expect(page.locator("#still")).to_contain_text("Still to pull")
    type_scan(page, items[0].code)
    expect(page.locator("#done")).to_have_text("1")
    page.context.set_offline(True)
    page.reload()
    words = page.locator("#still")
    here = r"^No answer from the shop: counted here, from what it knew at \d\d:\d\d\. Still to pull"
    expect(words).to_have_text(re.compile(here))
    expect(page.locator("#done")).to_have_text("1")
    type_scan(page, items[1].code)
    expect(words).to_contain_text("That is everything.")
    page.get_by_role("button", name="Turn").click()
    expect(page.locator("#done")).to_have_text("0")
    expect(words).to_contain_text("Still in the room")
    page.locator("#undo button").click()
    expect(page.locator("#words")).to_have_text("of 1 on the truck")
    page.context.set_offline(False)
    expect(page.locator("#waiting")).to_have_text("All sent: the shop has answered.", timeout=15000)
    expect(words).to_have_text(re.compile("^Still in the room"))
    expect(page.locator("#waiting")).to_be_hidden(timeout=10000)
    forgiven(page)


@pytest.mark.parametrize("height", [664, 844])
def test_the_choices_and_the_count_stay_in_sight_while_scans_wait(cold, show, height):
    good, bad = make_item(name="with voicing filter B"), make_item(suspect_since=now() - timedelta(days=1))
    page = cold()
    page.set_viewport_size({"width": 390, "height": height})
    type_scan(page, good.code)
    hit(page, "fine")
    expect(page.locator("#waiting")).to_contain_text("1 not sent")
    bar = page.locator(".undo-bar").bounding_box()
    seen = page.locator("#words" if height < 800 else "#still").bounding_box()
    assert seen["y"] + seen["height"] <= bar["y"] + 1
    type_scan(page, bad.code)
    hit(page, "stop")
    for choice in page.locator("#hit .choose .strip").all():
        box = choice.bounding_box()
        assert box["y"] + box["height"] <= bar["y"] + 1
    keys = "[...document.querySelectorAll('#camera, #sound, #waiting button')].map((one) => one.getBoundingClientRect())"
    sizes = page.evaluate(f"{keys}.filter((box) => box.width).map((box) => Math.min(box.width, box.height))")
    assert sizes and min(sizes) >= 56
    button = page.locator("#waiting button").element_handle()
    page.wait_for_timeout(2500)  # it tries again, and says the same
    assert button.evaluate("(one) => one.isConnected")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_dock_that_was_opened_once_opens_without_signal(open_page, hand, show):
    item, line = make_item(name="A"), make_counted_line()
    make_pull_row(show, type=item.type, count=1)
    make_pull_row(show, type=line.type, count=4)
    page = opened(open_page(hand), f"/dock/?show={show.pk}")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.context.set_offline(True)
    page.reload()
    type_scan(page, item.code)
    assert "Out to Harvest ceilidh" in hit(page, "fine")
    expect(page.locator("#words")).to_have_text("of 5 on the list")
    expect(page.locator("#done")).to_have_text("1")
    page.locator("form.count .go").click()
    expect(page.locator("#hit")).to_contain_text("On this device")
    expect(page.locator("#done")).to_have_text("5")
    page.context.set_offline(False)
    wait_for_page(page, lambda: not waiting(page), 15)
    assert Item.objects.get(pk=item.pk).custody_show == show.pk
    page.get_by_role("button", name="Paper").click()
    expect(page.get_by_role("button", name="Dark desk")).to_be_visible()
    forgiven(page)


def test_a_count_of_what_nobody_knows_by_heart_says_that_it_is_old(open_page, technician, show):
    item = make_item(name="A")
    make_pull_row(show, type=item.type, count=1)
    page = open_page(technician)
    page.route("**/dock/snapshot.json*", lambda route: route.abort())
    page.goto(f"/dock/?show={show.pk}")
    expect(page.locator("#still")).to_contain_text("Still to pull")
    page.context.set_offline(True)
    expect(page.locator("#still")).to_have_text("No answer from the shop: this count is old.")
    page.get_by_role("button", name="Turn").click()
    expect(page.locator("#done")).to_have_text("")  # what was counted out says nothing of the truck
    page.context.set_offline(False)
    expect(page.locator("#still")).to_contain_text("Nothing of this show is out.")
    page.errors[:] = [error for error in page.errors if "ERR_FAILED" not in error]
    forgiven(page)


def test_once_it_is_known_that_there_is_no_signal_nothing_is_waited_for(cold):
    item = make_item(name="A")
    page = cold()
    type_scan(page, make_item().code)  # the first tells that there is no network
    hit(page, "kept")
    page.wait_for_timeout(2500)
    signal = page.evaluate(
        """(code) => {
            const field = document.getElementById("code");
            field.value = code;
            field.form.requestSubmit();
            return document.getElementById("hit").dataset.signal;
        }""",
        item.code,
    )
    assert signal == "fine"


def test_the_same_answers_as_the_shop_word_for_word(open_page, technician, show, company):
    """Every standing, place and way there is: the device's judge and the server's fold say the same."""
    at = now()
    fair = make_show(load_in=at - timedelta(hours=4), name="Quarry street fair")
    over = make_show(load_in=at - timedelta(days=3), name="Brass concert")
    later = make_show(load_in=at + timedelta(days=2), name="Spring ball")
    kind = make_type(Kind.INTERFACE_BOX, name="Active direct box")
    make_pull_row(show, type=kind, count=2)
    things = []
    for where in (None, show, fair, over, later):
        for state in ("good", "suspect", "retired", "lent", "due", "except", "truck"):
            item = make_item(type=kind if state != "good" else None, name=f"{state} {where.name if where else 'shop'}")
            if where:
                send(technician, item.code, "out", where.pk, at - timedelta(hours=3))
                if state == "truck":
                    send(technician, item.code, "truck", where.pk, at - timedelta(hours=2))
            changes = {
                "retired": {"retired_on": at.date(), "retired_because": "sold"},
                "lent": {"lent_to": "the chapel", "lent_on": at.date() - timedelta(days=2)},
                "due": {"test_by": at.date() - timedelta(days=2), "tested_on": at.date() - timedelta(days=300)},
                "except": {"excepts": "3", "tested_on": at.date() - timedelta(days=3)},
            }.get(state)
            if changes:
                Item.objects.filter(pk=item.pk).update(**changes)
            if state == "suspect":
                fault_open(uid=uuid.uuid4(), item=item, symptom="hums", at=at - timedelta(hours=5), person=None)
            things.append(item)
    cases_of = []
    for name in ("one", "two", "three", "four"):
        case = make_case(name=name)
        inside = [make_item(name=f"{name} {n}") for n in range(6)]
        for item in inside:
            placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=at - timedelta(days=1))
        cases_of.append((case, [item.code for item in inside]))
    page = opened(open_page(technician), f"/dock/?show={show.pk}")
    ways = [("out", show.pk), ("truck", show.pk), ("back", None), ("back", show.pk), ("truck", None)]
    cases = [
        {"code": item.code, "action": action, "show": key, "item": n}
        for n, item in enumerate(things)
        for action, key in [ways[n % len(ways)]]
    ] + [{"code": item.code, "action": "out", "show": show.pk, "item": n} for n, item in enumerate(things) if n % 5 != 0]
    packed = [codes for _, codes in cases_of]
    for (case, _), counts in zip(
        cases_of,
        (
            [(6, []), (5, []), (5, packed[0][:1])],
            [(5, packed[1][:1]), (5, []), (4, [])],
            [(1, packed[2][:5]), (3, packed[2][5:]), (0, [])],
            [(None, packed[3][:2]), (3, packed[3][2:3]), (None, [])],
        ),
        strict=True,
    ):
        things.append(case)
        for (action, key), (counted, missing) in zip(
            [("out", show.pk), ("truck", show.pk), ("back", None)], counts, strict=True
        ):
            more = {"counted": counted, "missing": missing}
            cases.append({"code": case.code, "action": action, "show": key, "item": len(things) - 1, **more})
    cases += [
        {"code": text, "action": "out", "show": show.pk, "item": 0}
        for text in (
            "ZZZZ-9999",
            "zzzz 999",
            things[0].code[:-1],
            f"{things[0].code}7",
            f"{things[1].code[:6]}{things[1].code[7]}{things[1].code[6]}",
        )
    ]
    said = page.evaluate(
        """async ({ cases, at }) => {
            const { judge, moved } = await import("/static/shows/dock-judge.js");
            const snapshot = await (await fetch("/dock/snapshot.json")).json();
            const known = new Map(snapshot.items.map((item) => [item.code, item]));
            const shows = [...snapshot.shows, ...snapshot.elsewhere];
            const show = (id) => shows.find((one) => one.id === id);
            const desk = { known: (code) => known.get(code), show, all: () => snapshot.items, only: null };
            return cases.map((scan) => {
                const verdict = judge(scan, desk, at);
                moved(scan, desk, at);
                return verdict;
            });
        }""",
        {"cases": cases, "at": at.timestamp() * 1000},
    )
    told = [
        send(
            technician,
            case["code"],
            case["action"],
            case["show"],
            at + timedelta(microseconds=n),
            **{name: case[name] for name in ("counted", "missing") if name in case},
        )
        for n, case in enumerate(cases)
    ]
    for case, here, there in zip(cases, said, told, strict=True):
        name = things[case["item"]].name
        assert (here["signal"], here["outcome"], here["reason"]) == (there["signal"], there["outcome"], there["reason"]), (
            name,
            case,
        )
    assert {one["signal"] for one in said} == {"fine", "look", "stop"}


def send(person, code, action, show, at, **more):
    from django.test import Client

    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    scan = {"id": str(uuid.uuid4()), "code": code, "action": action, "show": show, "happened_at": at.isoformat(), **more}
    answer = client.post("/api/scans", json.dumps({"device": "other", "scans": [scan]}), content_type="application/json")
    return answer.json()["results"][0]


def test_a_case_with_something_missing_is_said_to_lack_it_without_signal(cold, show):
    case, things = make_case(name="4"), [make_item(name=name) for name in "ABC"]
    for item in things:
        placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=now() - timedelta(days=1))
    page = cold()
    type_scan(page, case.code)
    page.get_by_role("button", name="Not all").click()
    page.locator(".inside-list button", has_text=things[1].label).click()
    page.get_by_role("button", name="That is 2").click()
    said = hit(page, "look")
    assert f"2 of 3 counted; {things[1].label} is not in it." in said and "1 short" in said
    page.context.set_offline(False)
    wait_for_page(page, lambda: not waiting(page), 15)
    assert Scan.objects.get(code=case.code).signal == "look"


def test_a_slip_of_the_fingers_is_seen_without_signal(cold, show):
    code = make_item(name="A").code
    page = cold()
    wrong = code[:-1] + ("7" if code[-1] != "7" else "8")
    type_scan(page, wrong)
    assert "One character is wrong or two are swapped" in hit(page, "stop")
    expect(page.get_by_role("button", name="Type it again")).to_be_visible()
    page.context.set_offline(False)
    wait_for_page(page, lambda: not waiting(page), 15)
    assert Scan.objects.get().signal == "stop" and not Contradiction.objects.exists()


def test_a_card_of_a_show_nobody_knows_here_turns_nothing_without_signal(cold, show):
    far = make_show(load_in=now() + timedelta(days=200), name="Spring ball")
    item = make_item(name="A")
    page = cold()
    type_scan(page, f"GO.{far.pk}.out")
    assert "not known here" in page.locator("#hit").inner_text().lower() and show.name in hit(page, "look")
    expect(page.locator(".show-name")).to_have_text(show.name)
    type_scan(page, item.code)
    hit(page, "fine")
    assert waiting(page)[-1]["show"] == show.pk
    page.reload()
    expect(page.locator(".show-name")).to_have_text(show.name)
    page.context.set_offline(False)
    wait_for_page(page, lambda: not waiting(page), 15)
    type_scan(page, f"GO.{far.pk}.out")
    expect(page.locator(".show-name")).to_have_text(far.name, timeout=10000)


def test_where_the_shops_word_is_graver_the_hand_is_shown_and_a_technician_is_told_once(cold, show, technician):
    item = make_item(name="A")
    page = cold()
    # found bad at the bench while the phone had no signal
    fault_open(uid=uuid.uuid4(), item=item, symptom="crackles", at=now() - timedelta(seconds=1), person=technician)
    type_scan(page, item.code)
    hit(page, "fine")
    page.context.set_offline(False)
    words = hit(page, "stop")
    assert "this phone said fine" in words.lower() and "suspect" in words.lower()
    found = Contradiction.objects.get(item=item)
    assert found.kind == "against advice" and found.decided_at is None
    assert Contradiction.objects.count() == 1


def test_a_case_takes_what_lies_in_it_along(cold, show):
    case, inside = make_case(name="4"), make_item(name="A")
    placement_record(uid=uuid.uuid4(), item=inside, case=case, effective_at=now() - timedelta(days=1))
    page = cold()
    type_scan(page, case.code)
    page.get_by_role("button", name="Yes, 1").click()
    hit(page, "fine")
    type_scan(page, inside.code)
    assert "Already out" in hit(page, "fine")
    page.context.set_offline(False)
    wait_for_page(page, lambda: Scan.objects.count() == 2, 15)
    assert Item.objects.get(pk=inside.pk).custody_show == show.pk


def test_undo_without_signal_puts_back_what_is_known(cold, show):
    item = make_item(name="A")
    page = cold()
    type_scan(page, item.code)
    hit(page, "fine")
    page.locator("#undo button").click()
    hit(page, "undone")
    type_scan(page, item.code)
    assert "Out to Harvest ceilidh" in hit(page, "fine")  # not "already out"
    page.context.set_offline(False)
    wait_for_page(page, lambda: Scan.objects.count() == 3, 15)
    assert Item.objects.get(pk=item.pk).custody_show == show.pk


def test_a_phone_that_lost_one_store_finds_its_scans_in_the_other(cold, show):
    items = [make_item(name=name) for name in "AB"]
    page = cold()
    for item in items:
        type_scan(page, item.code)
        hit(page, "fine")
    page.wait_for_timeout(400)
    page.evaluate("Object.keys(localStorage).forEach((key) => key.startsWith('kg.queue.') && localStorage.removeItem(key))")
    page.goto("/dock/")
    expect(page.locator("#waiting")).to_contain_text("2 not sent", timeout=10000)
    page.context.set_offline(False)
    wait_for_page(page, lambda: Scan.objects.count() == 2, 15)
    assert set(Item.objects.values_list("custody_show", flat=True)) == {show.pk}


def test_what_was_answered_and_chosen_since_the_page_was_kept_stands_when_it_opens_cold(open_page, technician, show):
    fair, item = make_show(load_in=now() + timedelta(hours=3), name="Quarry street fair"), make_item(name="A")
    page = kept(open_page(technician), show)
    type_scan(page, item.code)
    hit(page, "fine")
    wait_for_page(page, lambda: not waiting(page))
    type_scan(page, f"GO.{fair.pk}.BACK")
    context = page.context
    page.close()
    context.set_offline(True)
    cold = context.new_page()
    cold.goto("/dock/")
    expect(cold.locator(".show-name")).to_have_text("Quarry street fair")
    expect(cold.locator(".way")).to_have_attribute("data-way", "back")
    expect(cold.locator(".way .under")).to_contain_text("home by")
    type_scan(cold, f"GO.{show.pk}.OUT")
    type_scan(cold, item.code)
    expect(cold.locator("#hit")).to_contain_text("Already out to Harvest ceilidh")
    forgiven(page)


def test_a_shop_that_takes_a_greeting_and_never_answers_it_holds_nothing_up_for_long(cold):
    item = make_item(name="A")
    page = cold()
    type_scan(page, item.code)
    hit(page, "fine")
    held = []
    page.route("**/dock/hello*", lambda route: route.continue_() if held else held.append(route))
    page.context.set_offline(False)
    wait_for_page(page, lambda: held)
    wait_for_page(page, lambda: Scan.objects.count() == 1, 15)


def test_what_waits_is_carried_out_as_a_file_or_as_codes(cold):
    item = make_item(name="A")
    page = cold()
    type_scan(page, item.code)
    hit(page, "fine")
    page.get_by_role("button", name="Carry them to the shop").click()
    with page.expect_download() as saved:
        page.get_by_role("button", name="Save as a file").click()
    carried = json.loads(saved.value.path().read_text())
    assert carried["format"] == "knowngood scans 1" and carried["scans"] == waiting(page)
    expect(page.locator(".carry [role=status]")).to_contain_text(
        f"{saved.value.suggested_filename} is among this phone's downloads"
    )
    page.get_by_role("button", name="Show as codes").click()
    expect(page.locator(".carry-code svg")).to_be_visible()
    page.wait_for_timeout(300)
    code, bar = page.locator(".carry-code svg").bounding_box(), page.locator(".undo-bar").bounding_box()
    assert code["y"] >= 0 and code["y"] + code["height"] <= bar["y"]  # whole, for the laptop's camera
    expect(page.locator(".carry [role=status]")).to_have_text("Code 1 of 1")


def test_the_nearest_spare_is_named_without_signal(cold, show):
    kind = make_type(Kind.INTERFACE_BOX, name="Active direct box")
    dead, spare = make_item(type=kind, name="A"), make_item(type=kind, name="B")
    page = cold()
    type_scan(page, dead.code)
    hit(page, "fine")
    page.locator("#hums").click()
    page.get_by_role("button", name="Dead: swap it").click()
    expect(page.locator("#hit")).to_contain_text("nearest spare is in the shop")
    expect(page.locator("#hit")).to_contain_text(spare.code[:4])


def test_another_page_says_that_there_is_no_signal_and_leads_to_the_dock(cold):
    page = cold()
    page.goto("/shows/")
    expect(page.locator("h1")).to_have_text("No signal")
    page.get_by_role("link", name="To the dock").click()
    expect(page.locator("#code")).to_be_visible()
    page.get_by_role("button", name="Paper").click()  # no page of the browser's own, either
    expect(page.locator("h1")).to_have_text("No signal")


def test_a_new_version_waits_until_nothing_waits(open_page, technician, show, monkeypatch):
    page = kept(open_page(technician), show)
    page.context.set_offline(True)
    type_scan(page, make_item(name="A").code)
    hit(page, "kept")
    monkeypatch.setattr("shows.views.offline._contents", lambda: "another version")
    assert len(waiting(page)) == 1
    page.context.set_offline(False)
    wait_for(lambda: Scan.objects.count() == 1 or page.wait_for_timeout(50), 15)
    page.evaluate("navigator.serviceWorker.getRegistration().then(r => r.update())")
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    one = "caches.keys().then((keys) => keys.filter((key) => key.startsWith('dock-')).length === 1)"
    page.wait_for_function(one, timeout=10000)
    forgiven(page)
    type_scan(page, make_item(name="B").code)
    hit(page, "fine")
