"""Two thousand scans on three phones in bad weather: no network, replies lost, 503, the shop killed and started again.

What was scanned is written down as each page keeps it, and held against the record at the end: none lost, none doubled, and
everything where a small model says that it is. The feed is drawn from a seed; what the weather hits is as time has it.
"""

import json
import random
from collections import Counter
from datetime import datetime
from uuid import UUID

import pytest
from playwright.sync_api import Error

from tests.e2e.own_shop import COMPANY, SCANNED, WAITING, OwnShop
from tests.e2e.test_dock import wait_for_page
from tests.shows.test_custody_stateful import Model

SEED, SCANS, PHONES = 20260925, 2_000, 3
KILLED_AT, DEAD_FOR = (250, 700, 1150, 1600), 70  # of scans
WAYS = ("out", "out", "truck", "back", "back", "back")

GEAR = f"""{COMPANY}
import json, uuid
from inventory.services.cases import placement_record

hours = lambda n: at + timedelta(hours=n)
named = {{"Quarry street fair": -4, "Harvest ceilidh": 2, "Spring ball": 20}}
shows = [make_show(load_in=hours(n), name=name) for name, n in named.items()]
box = make_type(name="Line box")
case, *items = [make_case(name="4"), *(make_item(type=box, name=str(n)) for n in range(50))]
for inside in items[:5]:
    placement_record(uid=uuid.uuid4(), item=inside, case=case, effective_at=hours(-24))
print(json.dumps({{
    "session": session, "shows": [show.pk for show in shows], "case": case.pk, "inside": [one.pk for one in items[:5]],
    "items": {{one.code: one.pk for one in [case, *items]}}, "packed": hours(-24).isoformat(),
}}))
"""

# Each scan as the page first keeps it, before any network has a say: the queue is written in the same breath.
WRITTEN_DOWN = """
const write = Storage.prototype.setItem, seen = new Set();
window.made = [];
Storage.prototype.setItem = function (key, value) {
  if (key.startsWith("kg.queue.")) {
    for (const { body } of JSON.parse(value)) {
      if (!seen.has(body.id)) made.push(body);
      seen.add(body.id);
    }
  }
  return write.call(this, key, value);
};
"""
KNOWS = """
async () => {
  const part = performance.getEntriesByType("resource").find(({ name }) => name.includes("dock-desk"));
  return part && (await import(part.name)).state.items.length > 0;
}
"""


class Phone:
    """A browser of its own, what was scanned on it, and how its network is."""

    def __init__(self, chromium, shop, given, number):
        self.shop, self.given, self.number = shop, given, number
        self.weather = random.Random(f"{SEED} {number}")
        self.context = chromium.new_context(base_url=shop.url, viewport={"width": 390, "height": 844})
        self.context.add_cookies([{"name": "knowngood", "value": given["session"], "url": shop.url}])
        self.context.add_init_script(WRITTEN_DOWN)
        self.context.route("**/api/scans", self.sent)
        self.context.set_default_timeout(20_000)
        self.offline, self.rough = False, True
        self.show, self.way = given["shows"][number % 3], "out"
        self.scans, self.fed, self.met, self.errors = {}, [], Counter(), []
        self.sent_ids = Counter()
        self.open(f"/dock/?show={self.show}&way=out")
        self.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        wait_for_page(self.page, lambda: self.page.evaluate("navigator.serviceWorker.controller !== null"))
        self.again()  # through the worker, which keeps page and snapshot

    def open(self, path="/dock/"):
        self.page = self.context.new_page()
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.goto(path)
        wait_for_page(self.page, lambda: self.page.evaluate(KNOWS), 20)

    def again(self):
        """Close the dock and open it, with or without a network: what waits, and what was chosen, is still there."""
        self.gather()
        self.page.close()
        self.open()
        wait_for_page(self.page, lambda: self.chosen() == (self.show, self.way), 10)
        self.met["opened again"] += 1

    def chosen(self):
        show = self.page.locator(".show-name").inner_text()
        number = {"Quarry": 0, "Harvest": 1, "Spring": 2}[show.split()[0].capitalize()]
        return self.given["shows"][number], self.page.locator(".way").get_attribute("data-way")

    def sent(self, route):
        """Let a batch through, or lose its reply, or answer as a shop that is too busy does."""
        try:
            chance = self.weather.random() if self.rough else 1.0
            if self.offline:
                route.abort("internetdisconnected")
            elif chance < 0.3:
                route.fulfill(status=503, body="busy")
                self.met["503"] += 1
            elif chance < 0.65:
                self.arrived(route.fetch(timeout=15_000), route)
                self.met["reply lost"] += 1
                route.abort("connectionreset")
            elif self.rough:
                answer = route.fetch(timeout=15_000)
                self.arrived(answer, route)
                route.fulfill(response=answer)
            else:
                route.continue_()
        except Error:
            self.met["nobody there"] += 1
            route.abort("connectionrefused")

    def arrived(self, answer, route):
        if answer.ok:
            self.sent_ids.update(scan["id"] for scan in route.request.post_data_json["scans"])

    def cut(self, offline):
        self.offline = offline
        self.context.set_offline(offline)
        self.met["cut"] += offline

    def turn(self, show, way):
        self.show, self.way = show, way
        self.page.evaluate(SCANNED, [f"GO.{show}.{way.upper()}"])

    def scan(self, codes, typed):
        self.fed += [(code, self.way, self.show) for code in codes]
        if not typed:
            self.page.evaluate(SCANNED, codes)
            return
        for code in codes:
            self.page.keyboard.type(code)
            self.page.keyboard.press("Enter")

    def undo(self):
        self.fed.append(("", "undo", self.show))
        self.page.evaluate(SCANNED, ["DO.UNDO"])

    def gather(self):
        for body in self.page.evaluate("made.splice(0)"):
            self.scans.setdefault(body["id"], body)

    def waits(self):
        return self.page.evaluate(WAITING)


@pytest.fixture
def shop(tmp_path):
    one = OwnShop(tmp_path)
    yield one
    one.kill()


@pytest.mark.slow
def test_in_any_weather_no_scan_is_lost_or_doubled_and_all_is_where_it_should_be(chromium, shop):
    given = json.loads(shop.python(GEAR).splitlines()[-1])
    shop.serve()
    phones = [Phone(chromium, shop, given, number) for number in range(PHONES)]
    kills = in_bad_weather(random.Random(SEED), shop, phones, given)

    for phone in phones:
        phone.rough = False
        phone.cut(False)
    for phone in phones:
        phone.page.evaluate("dispatchEvent(new Event('focus'))")
        wait_for_page(phone.page, lambda phone=phone: phone.waits() == 0, 40)
        phone.gather()

    judge_record(shop, phones)
    judge_custody(shop, phones, given)
    judge_order(shop)
    met = sum((phone.met for phone in phones), Counter())
    again = sum(count > 1 for phone in phones for count in phone.sent_ids.values())
    assert kills == len(KILLED_AT)
    assert met["reply lost"] > 10 and met["503"] > 10 and met["cut"] > 10 and met["opened again"] > PHONES, met
    assert again > 20, "nothing was sent twice: the weather was too fine to prove anything"
    assert [phone.errors for phone in phones] == [[]] * PHONES
    assert "Traceback" not in shop.said(), shop.said()[-3000:]
    for phone in phones:
        phone.context.close()


def in_bad_weather(rng, shop, phones, given):
    """Feed the scans while networks come and go; return how often the shop was killed."""
    codes, fed, kills, dead_until = list(given["items"]), 0, 0, None
    while fed < SCANS:
        phone = rng.choice(phones)
        if kills < len(KILLED_AT) and fed >= KILLED_AT[kills]:
            shop.kill()
            kills, dead_until = kills + 1, fed + DEAD_FOR
        if dead_until is not None and fed >= dead_until:
            shop.begin()
            dead_until = None
        change_weather(rng, phone)
        if rng.random() < 0.2:
            phone.turn(rng.choice(given["shows"]), rng.choice(WAYS))
        burst = [rng.choice(codes) for _ in range(min(rng.randint(1, 14), SCANS - fed))]
        phone.scan(burst, typed=rng.random() < 0.06)
        fed += len(burst)
        if fed < SCANS and rng.random() < 0.12:
            phone.undo()
            fed += 1
        phone.gather()
        phone.page.wait_for_timeout(rng.randint(0, 40))
    # a case whose count nobody gives waits for the next thing scanned: one that answers for itself
    for phone in phones:
        phone.scan([codes[-1]], typed=True)
    return kills


def change_weather(rng, phone):
    if rng.random() < 0.15:
        phone.cut(not phone.offline)
    if rng.random() < 0.2:
        phone.rough = not phone.rough
    if rng.random() < 0.03:
        phone.again()


def judge_record(shop, phones):
    """Every scan once, as it was scanned, in the order its phone kept it."""
    assert sum(len(phone.fed) for phone in phones) == SCANS + PHONES
    for phone in phones:
        kept = sorted(phone.scans.values(), key=lambda body: body["seq"])
        assert [body["seq"] for body in kept] == list(range(1, len(kept) + 1))
        fed = [("" if body["action"] == "undo" else body["code"], body["action"], body["show"]) for body in kept]
        assert fed == phone.fed
    kept = {UUID(uid).hex: body for phone in phones for uid, body in phone.scans.items()}
    rows = shop.rows("select uid, code, action, show_id, outcome from shows_scan")
    assert len(rows) == SCANS + PHONES, "one row a scan"
    assert {uid for uid, *_ in rows} == set(kept), "these very scans"
    for uid, code, action, show, outcome in rows:
        body = kept[uid]
        assert (code, action, show) == (body["code"], body["action"], body["show"])
        assert outcome in {"accepted", "contradiction"}
    (seqs,) = shop.rows("select count(distinct device || ':' || seq) from shows_scan")
    assert seqs == (SCANS + PHONES,)


def judge_custody(shop, phones, given):
    """Each thing is where the model, told the same scans in the accepted order, says."""
    model = Model([])
    model.placements = [(datetime.fromisoformat(given["packed"]), item, given["case"]) for item in given["inside"]]
    undoes = {UUID(body["id"]).hex: body.get("undoes") for phone in phones for body in phone.scans.values()}
    told = shop.rows("select uid, device, seq, code, action, show_id, effective_at from shows_scan")
    for uid, device, seq, code, action, show, at in told:
        when = datetime.fromisoformat(f"{at}+00:00")
        scan = {"id": str(UUID(uid)), "device": device, "seq": seq, "at": when, "item": given["items"][code]}
        model.scans[uid] = scan | {"action": action, "show": show, "undoes": undoes[uid]}
    expected = model.replay()
    custody = {
        pk: (show, custody == "truck")
        for pk, custody, show in shop.rows("select id, custody, custody_show from inventory_item")
        if custody in {"show", "truck"}
    }
    assert custody == expected
    assert 5 < len(custody) < len(given["items"]), "some out, some at home: a model that says nothing proves nothing"
    open_stays = dict(shop.rows("select item_id, show_id from shows_checkout where closed_at is null"))
    assert open_stays == {pk: show for pk, (show, _truck) in expected.items()}
    order = "select item_id, count(*) from shows_checkout where closed_at is null group by item_id having count(*) > 1"
    assert shop.rows(order) == [], "nothing is out twice"


def judge_order(shop):
    """What one phone scanned of one thing counts in the order it was scanned, however long a batch was under way."""
    last = {}
    told = shop.rows("select device, code, seq, effective_at, action from shows_scan order by device, seq")
    for device, code, seq, at, action in told:
        before = last.setdefault((device, code), (seq, at, action))
        assert before[1] <= at, f"{code}: {before} counts after {(seq, at, action)}"
        last[device, code] = (seq, at, action)
