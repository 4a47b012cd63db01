"""The count without signal: what a device counts by heart is what the shop counts once it has heard of everything."""

import random
import uuid
from datetime import timedelta

import pytest

from company.clock import now
from inventory.calc.kinds import Kind
from inventory.services.cases import placement_record
from tests.builders import make_case, make_counted_line, make_item, make_pull_row, make_show, make_type
from tests.e2e.test_dock import wait_for_page
from tests.e2e.test_offline import forgiven, kept, send, waiting

pytestmark = pytest.mark.django_db(transaction=True)

WORDS = {"out": "on the list", "truck": "on the truck", "back": " back"}
HERE = "No answer from the shop: counted here, from what it knew at "

# as a scanner would, without the pauses: the same field, the same form
READ = """(text) => {
    const field = document.getElementById("code");
    field.value = text;
    field.form.requestSubmit();
}"""


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")


@pytest.fixture
def gear(show, technician):
    """A list with every sort of line, things on it, beside it and at other shows, a case in a case, counted lines."""
    box, lead = make_type(Kind.INTERFACE_BOX, name="Active direct box"), make_type(Kind.LEAD, name="XLR lead")
    stand, tape = make_type(Kind.STAND, name="TS stand"), make_type(Kind.CONSUMABLE, name="Cloth tape")
    boxes = [make_item(type=box, name=str(n)) for n in range(5)]
    leads = [make_item(type=lead, length_mm=mm) for mm in (5_000, 5_000, 10_000, 10_000, 10_000, 20_000)]
    others = [make_item(type=stand, name="A"), make_item(name="B")]
    outer, inner = make_case(name="outer"), make_case(name="inner")
    for item, case in ((inner, outer), (boxes[0], outer), (leads[0], outer), (leads[2], inner), (boxes[1], inner)):
        placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=now() - timedelta(days=1))
    counted = [make_counted_line(type=lead, length_mm=2_500), make_counted_line(type=tape), make_counted_line(type=stand)]
    make_pull_row(show, type=box, count=3)
    make_pull_row(show, type=lead, length_mm=10_000, count=2)
    make_pull_row(show, type=lead, count=3)  # of any length
    make_pull_row(show, type=box, item=boxes[4])
    make_pull_row(show, type=lead, length_mm=2_500, count=6)
    make_pull_row(show, type=tape, count=4)
    over = make_show(load_in=now() - timedelta(days=2), name="Brass concert")
    fair = make_show(load_in=now() - timedelta(hours=4), name="Quarry street fair")
    later = make_show(load_in=now() + timedelta(hours=20), name="Spring ball")
    for item, where in ((boxes[2], over), (leads[3], fair), (leads[1], later), (others[1], show), (leads[4], show)):
        send(technician, item.code, "out", where.pk, now() - timedelta(hours=3))
    send(technician, leads[4].code, "back", show.pk, now() - timedelta(hours=2))
    return {
        "items": [one.code for one in (*boxes, *leads, *others)],
        "cases": {outer.code: 3, inner.code: 2},
        "lines": [line.pk for line in counted],
        "shows": [show.pk, later.pk],
    }


SAID = "['done', 'words', 'still'].map((id) => document.getElementById(id).textContent)"


def said(page):
    return page.evaluate(SAID)


def counts(page, *, here):
    """Return what the dock says of each way, after the words that tell who counted."""
    found = {}
    for way, word in WORDS.items():
        page.evaluate(READ, f"DO.{way.upper()}")
        wait_for_page(page, lambda: word in said(page)[1] and said(page)[2].startswith(HERE) is here)  # noqa: B023 (now)
        done, words, still = said(page)
        found[way] = (done, words, still.removeprefix(HERE)[len("20:14. ") :] if here else still)
    return found


def scanned(page, gear, chance):
    """Scan something: a thing, a case with a count or without one, a counted line, a card, an undo."""
    what = chance.random()
    if what < 0.55:
        page.evaluate(READ, chance.choice(gear["items"]))
    elif what < 0.72:
        case, inside = chance.choice(sorted(gear["cases"].items()))
        page.evaluate(READ, case)
        page.wait_for_timeout(30)
        if page.locator("#hit .say", has_text="inside").count() and chance.random() < 0.7:
            page.evaluate(READ, str(chance.choice([inside, inside, inside - 1])))
    elif what < 0.84:
        page.evaluate(READ, f"COUNT.{chance.choice(gear['lines'])}")
        page.evaluate(READ, str(chance.randint(1, 5)))
    elif what < 0.9:
        page.evaluate(READ, "DO.UNDO")
    else:
        page.evaluate(READ, f"GO.{chance.choice(gear['shows'])}.{chance.choice(list(WORDS))}")
    page.wait_for_timeout(20)


@pytest.mark.parametrize("seed", range(3))
def test_what_is_counted_without_signal_is_what_the_shop_counts_later(open_page, technician, show, gear, seed):
    page = kept(open_page(technician), show)
    chance = random.Random(seed)
    for number in range(4):
        page.context.set_offline(True)
        for _ in range(18):
            scanned(page, gear, chance)
        page.evaluate(READ, f"GO.{show.pk}.out")
        history = [(body["action"], body["code"], body["show"], body.get("counted")) for body in waiting(page)]
        by_heart = counts(page, here=True)
        page.context.set_offline(False)
        wait_for_page(page, lambda: not waiting(page), 30)
        assert by_heart == counts(page, here=False), (number, history)
        with page.expect_response("**/dock/snapshot.json*"):
            page.reload()
        page.wait_for_timeout(300)
    forgiven(page)
