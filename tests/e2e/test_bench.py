"""The bench in real Chromium, with a typed scanner: ten leads and two boxes in a sitting, labels instead of keys, repair."""

import re
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import expect

from company.clock import now
from company.models import Person
from inventory.calc.kinds import Kind
from inventory.models import InterfaceBoxFacts, Item, LeadFacts
from maintenance.calc.bench import Depth, Verdict
from maintenance.models import BenchTest, Repair, Sitting
from maintenance.services.wirings import wirings_load, wirings_shipped
from tests.builders import make_item, make_show, make_type
from tests.e2e.test_dock import focused, hit, opened, type_scan, wait_for

pytestmark = pytest.mark.django_db(transaction=True)
SAID = "#now .verdict h2 .name"
SLOW = 20_000  # the first verdict of a process loads what it computes with


@pytest.fixture
def lead_type(company):
    wirings_load(entries=wirings_shipped())
    kind = make_type(Kind.LEAD, name="Microphone lead")
    LeadFacts.objects.create(type=kind, wiring="three-pin", core_mm2=0.22)
    return kind


@pytest.fixture
def leads(lead_type):
    return [make_item(type=lead_type, length_mm=6000, name=str(n)) for n in range(10)]


@pytest.fixture
def boxes(company):
    kind = make_type(Kind.INTERFACE_BOX, name="Passive direct box")
    InterfaceBoxFacts.objects.create(type=kind, active=False, turns_ratio=12, transformer_isolated=True, ground_lift=True)
    return [make_item(type=kind, name=name) for name in "AB"]


def enter(page, *texts):
    for text in texts:
        page.keyboard.type(text)
        page.keyboard.press("Enter")


def shows(page, item):
    expect(page.locator("#now #on .code")).to_have_text(f"{item.code[:4]}-{item.code[4:]}", timeout=SLOW)


def verdict(page, word):
    expect(page.locator(SAID)).to_have_text(re.compile(word, re.IGNORECASE), timeout=SLOW)
    assert focused(page) == "code"


def sat_down(page, technician, **kw):
    sitting = Sitting.objects.create(person=technician, began_at=now(), null_ohms=0, **kw)
    page.goto(sitting.get_absolute_url())
    # the field has the focus before the script that reads it has come: a person takes longer than that, a test does not
    expect(page.locator("#scan.has-script")).to_be_attached(timeout=SLOW)
    expect(page.locator("#code")).to_be_focused()
    return sitting


def test_ten_leads_and_two_boxes_are_done_with_the_scanner_and_a_bad_one_comes_back(open_page, technician, leads, boxes):
    make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")
    page = open_page(technician, width=1440)
    page.goto("/bench/sittings/")
    page.get_by_role("button", name="Sit down").click()
    expect(page.locator("#code")).to_be_focused()

    # eight good ones: three ohms, everything else over range, Enter for the verdict
    for lead in leads[:8]:
        type_scan(page, lead.code)
        shows(page, lead)
        enter(page, "0.41", "0.62", "0,61", "o", "o", "o", "")
        verdict(page, "pass")
    # legs crossed, typed pair by pair into the fields
    type_scan(page, leads[8].code)
    shows(page, leads[8])
    enter(page, "0.41", "o", "o")
    page.locator("#now summary").first.click()
    page.locator('[name="p:A2:B3"]').fill("0.81")
    page.locator('[name="p:A3:B2"]').fill("0.80")
    page.locator('[name="rest:wrong pairs"]').check()
    page.get_by_role("button", name="Verdict").click()
    verdict(page, "fail")
    expect(page.locator("#now .findings")).to_contain_text(re.compile("swapped", re.IGNORECASE))
    # an open screen
    type_scan(page, leads[9].code)
    shows(page, leads[9])
    enter(page, "ol", "0.62", "0.61", "o", "o", "o", "")
    verdict(page, "fail")
    expect(page.locator("#now .findings")).to_contain_text(re.compile("open", re.IGNORECASE))

    # two boxes: each step asked in turn, yes and no by labels
    for box, through in zip(boxes, ("TEST.YES", "TEST.NO"), strict=True):
        type_scan(page, box.code)
        shows(page, box)
        answer_the_steps(page, through)
        verdict(page, "fail" if through == "TEST.NO" else "pass|watch")
    assert BenchTest.objects.count() == 12
    expect(page.locator("#count")).to_contain_text("3 bad")
    assert page.locator("#last li").count() == 12

    # barred from a show ...
    bad = Item.objects.get(pk=leads[8].pk)
    assert bad.suspect_since and not Item.objects.fit_to_go(now().date()).filter(pk=bad.pk).exists()
    dock = opened(open_page(technician))
    type_scan(dock, bad.code)
    assert "STOP" in hit(dock, "stop").upper()
    dock.wait_for_timeout(500)  # what is scanned before a person could see a stop does not take its place
    type_scan(dock, "DO.BACK")
    type_scan(dock, bad.code)
    hit(dock, "fine")

    # ... mended, tested again, and good
    page.goto(BenchTest.objects.get(item=bad).get_absolute_url())
    page.get_by_role("link", name="Repair it").click()
    page.locator('[name="did"]').fill("re-soldered pins 2 and 3")
    page.get_by_role("button", name="Write it down").click()
    wait_for(Repair.objects.filter(item=bad).exists)
    bad.refresh_from_db()
    assert bad.suspect_since  # a repair proves nothing by itself
    page.goto(Sitting.objects.get().get_absolute_url())
    expect(page.locator("#code")).to_be_focused()
    type_scan(page, bad.code)
    shows(page, bad)
    enter(page, "0.41", "0.62", "0.61", "o", "o", "o", "")
    verdict(page, "pass")
    bad.refresh_from_db()
    assert bad.suspect_since is None and bad.tested_on
    assert Item.objects.fit_to_go(now().date()).filter(pk=bad.pk).exists()


def answer_the_steps(page, through):
    """Answer whatever is asked as a good box would, the through-connection as told."""
    good = {"yes": "TEST.YES", "no": "TEST.NO"}
    for _ in range(page.locator("#readings .step").count()):
        row = page.locator("#readings .step[data-now]")
        if not row.count():
            break
        title = row.locator(".what-to-do").inner_text()
        expect_ = row.locator(".expect").inner_text().lower()
        if "through" in title.lower():
            enter(page, through)
        elif row.locator("input[type=radio]").count():
            enter(page, good["yes" if expect_.startswith("yes") else "no"])
        else:
            found = re.findall(r"([-−]?\d+(?:\.\d+)?)\s*(k)?", expect_)
            low, high = [float(n.replace("−", "-")) * (1000 if k else 1) for n, k in found][-2:]
            enter(page, f"{(low + high) / 2:.2f}")
        page.wait_for_timeout(60)
    enter(page, "")


def test_labels_alone_run_the_bench(browser_page, technician, leads):
    page = browser_page
    sat_down(page, technician, depth=Depth.LAMPS)
    type_scan(page, leads[0].code)
    shows(page, leads[0])
    type_scan(page, "TEST.PASS")
    verdict(page, "pass")
    type_scan(page, "TEST.AGAIN")
    shows(page, leads[0])
    type_scan(page, "TEST.FLEXED")
    expect(page.locator(".sitting .now, #now")).to_contain_text("drops out", timeout=SLOW)
    type_scan(page, "TEST.FAIL")
    verdict(page, "fail")
    type_scan(page, "TEST.UNDO")
    expect(page.locator("#now")).to_contain_text("Taken back", timeout=SLOW)
    type_scan(page, leads[1].code)
    shows(page, leads[1])
    type_scan(page, "TEST.CELL")
    expect(page.locator("#now")).to_contain_text("cell swapped, noted", timeout=SLOW)
    type_scan(page, "TEST.NEXT")
    expect(page.locator("#now")).to_contain_text("laid aside", timeout=SLOW)
    assert BenchTest.objects.filter(item=leads[1]).count() == 0
    type_scan(page, "TEST.END")
    expect(page.get_by_role("button", name="Go on with it")).to_be_visible(timeout=SLOW)
    assert Sitting.objects.get().ended_at


def test_a_run_counts_each_scan_once_until_the_fail_label(browser_page, technician, leads):
    page = browser_page
    sat_down(page, technician, depth=Depth.LAMPS_FLEXED)
    type_scan(page, "TEST.RUN")
    expect(page.locator("#mode")).to_contain_text("Each scan is a good one", timeout=SLOW)
    for lead in leads[:4]:
        page.keyboard.type(lead.code)
        page.keyboard.press("Enter")
    page.keyboard.type(leads[3].code)
    page.keyboard.press("Enter")
    type_scan(page, "TEST.FAIL")
    expect(page.locator("#count")).to_contain_text("3 good, 1 bad", timeout=SLOW)
    assert BenchTest.objects.filter(corrected_by=None).count() == 4
    assert BenchTest.objects.get(verdict=Verdict.FAIL).item == leads[3]
    type_scan(page, "TEST.RUN")
    expect(page.locator("#mode")).to_contain_text("Run: each scan", timeout=SLOW)


def test_readings_scanned_ahead_of_the_picture_find_their_lead(open_page, technician, leads):
    page = open_page(technician, width=1440)
    sat_down(page, technician)
    enter(page, leads[0].code, "0.41", "0.62", "0.61", "o", "o", "o", "", leads[1].code)
    expect(page.locator("#last li")).to_have_count(1)  # the verdict is in before the next lead is looked for
    shows(page, leads[1])
    test = BenchTest.objects.get()
    assert (test.item, test.verdict) == (leads[0], Verdict.PASS)
    assert [pair["ohms"] for pair in test.readings["pairs"][:3]] == [0.41, 0.62, 0.61]


def test_a_verdict_asked_for_while_the_shop_is_slow_comes_before_the_next_lead(open_page, technician, leads):
    page = open_page(technician, width=1440)
    sat_down(page, technician)

    def slowly(route):
        page.wait_for_timeout(1500)  # all that follows is typed before the first lead is drawn
        route.continue_()

    page.route("**/scan/", slowly, times=1)
    enter(page, leads[0].code, "0.41", "0.62", "0.61", "o", "o", "o", "", leads[1].code)
    shows(page, leads[1])
    test = BenchTest.objects.get()
    assert (test.item, test.verdict) == (leads[0], Verdict.PASS)


def test_a_code_scanned_into_a_field_of_readings_is_a_scan(open_page, technician, leads):
    page = open_page(technician, width=1440)
    sat_down(page, technician)
    type_scan(page, leads[0].code)
    shows(page, leads[0])
    page.locator('[name="p:A1:B1"]').focus()
    type_scan(page, leads[1].code)
    shows(page, leads[1])
    assert page.locator('[name="p:A1:B1"]').input_value() == ""


def test_what_cannot_be_read_is_said_beside_it_and_nothing_is_lost(open_page, technician, leads):
    page = open_page(technician, width=1440)
    sat_down(page, technician)
    page.errors.clear()
    type_scan(page, leads[0].code)
    shows(page, leads[0])
    enter(page, "0.41", "-3", "0.61", "")
    page.get_by_role("button", name="Verdict").click()
    expect(page.locator("#now .pair .error")).to_contain_text("never below nothing", timeout=SLOW)
    assert page.locator('[name="p:A1:B1"]').input_value() == "0.41"
    assert not BenchTest.objects.exists()
    page.errors.clear()  # Chromium writes every 422 to the console


def test_a_meter_s_words_a_bad_word_and_a_step_back_lose_no_reading(open_page, technician, leads):
    page = open_page(technician, width=1440)
    sat_down(page, technician)
    type_scan(page, leads[0].code)
    shows(page, leads[0])
    enter(page, "O.L", "0.5x")
    expect(page.locator("#now")).to_contain_text("is no label, and no answer", timeout=SLOW)
    shows(page, leads[0])
    assert page.locator('[name="p:A1:B1"]').input_value() == "OL"
    enter(page, "0R6", "1k2", "back")
    expect(page.locator('[name="p:A3:B3"]')).to_have_value("")
    assert page.locator('[name="p:A2:B2"]').input_value() == "0R6"
    enter(page, "0.61")
    expect(page.locator("label[for=code]")).to_contain_text("yes or o")
    enter(page, "yes")
    expect(page.locator('[name="rest:wrong pairs"]')).to_be_checked()
    enter(page, "TEST.UNDO", "no")
    expect(page.locator("label[for=code]")).to_contain_text("A1 to B2")
    assert not BenchTest.objects.exists()


def test_a_half_read_lead_is_kept_by_the_next_scan_and_by_a_reload(open_page, technician, leads):
    page = open_page(technician, width=390)
    sat_down(page, technician)
    type_scan(page, leads[0].code)
    shows(page, leads[0])
    enter(page, "0.41", "0.62", leads[1].code)
    shows(page, leads[1])
    expect(page.locator("#now")).to_contain_text("2 of 6 read, kept")
    enter(page, "0.43")
    page.wait_for_timeout(700)
    page.reload()
    shows(page, leads[1])
    expect(page.locator('[name="p:A1:B1"]')).to_have_value("0.43")
    page.locator("#last .half a").click()
    shows(page, leads[0])
    expect(page.locator('[name="p:A2:B2"]')).to_have_value("0.62")
    enter(page, "0.61", "o", "o", "o", "")
    verdict(page, "pass")
    assert BenchTest.objects.get().item == leads[0]


def test_a_code_glued_onto_a_refused_reading_is_taken_out_of_the_field(open_page, technician, leads):
    page = open_page(technician, width=1440)
    sat_down(page, technician)
    type_scan(page, leads[0].code)
    shows(page, leads[0])
    page.locator('[name="p:A1:B1"]').fill("-0.2")
    page.get_by_role("button", name="Verdict").click()
    expect(page.locator("#now .pair .error")).to_contain_text("never below nothing", timeout=SLOW)
    page.keyboard.press("End")
    type_scan(page, f"{leads[1].code[:4]}-{leads[1].code[4:]}")
    shows(page, leads[1])
    page.errors.clear()  # Chromium writes every 422 to the console


def test_without_a_script_the_bench_is_plain_forms(open_page, technician, leads):
    page = open_page(technician, script=False)
    sitting = Sitting.objects.create(person=technician, began_at=now(), null_ohms=0)
    page.goto(sitting.get_absolute_url())
    page.locator("#code").fill(leads[0].code)
    page.locator("#code").press("Enter")
    for name, value in (("A1:B1", "0.41"), ("A2:B2", "0.62"), ("A3:B3", "0.61")):
        page.locator(f'[name="p:{name}"]').fill(value)
    page.locator('[name="rest:wrong pairs"]').check()
    page.get_by_role("button", name="Verdict").click()
    expect(page.locator(SAID)).to_have_text(re.compile("pass", re.IGNORECASE))
    assert BenchTest.objects.get().verdict == Verdict.PASS


LOOKED = (Path(__file__).parent / "look.js").read_text()


@pytest.mark.parametrize("theme", ["dark", "paper"])
def test_the_pages_of_the_bench_fit_and_can_be_reached_and_read(open_page, demo_company, theme):
    wirings_load(entries=wirings_shipped())
    person = Person.objects.get(username="technician")
    sitting = Sitting.objects.create(person=person, began_at=now())
    some = {
        name: Item.objects.filter(type__name=name).order_by("pk")[0]
        for name in ("Microphone lead", "Passive direct box", "Multicore 8")
    }
    page = open_page(person, theme=theme)
    page.goto(sitting.get_absolute_url())
    type_scan(page, some["Microphone lead"].code)
    shows(page, some["Microphone lead"])
    enter(page, "ol", "0.1", "0.1", "o", "o", "o", "")
    verdict(page, "fail")
    test = BenchTest.objects.filter(sitting=sitting).latest("pk")
    here = sitting.get_absolute_url()
    there = test.get_absolute_url()
    paths = ["/bench/sittings/", here, *(f"{here}?scan={item.code}" for item in some.values()), f"{here}?scan=COUNT.3"]
    paths += [f"{here}?run=yes&done={test.uid}", f"{here}change/", there, f"{there}correct/", "/bench/labels/"]
    said = []
    for path in paths:
        for width in (390, 320, 1024, 1440):
            page.set_viewport_size({"width": width, "height": 844})
            if width == 390:
                answer = page.goto(path)
                page.evaluate("document.fonts.ready")
                said += [] if answer.status == 200 else [(path, answer.status)]
                said += [(path, what) for what in page.evaluate(LOOKED, False)]
                pink = page.locator(".strip.next:visible").count()
                said += [(path, f"{pink} pink strips")] if pink > 1 else []
            across = page.evaluate("document.documentElement.scrollWidth")
            if across > width:
                said.append((path, f"{across} px wide at {width}"))
    assert said == []
