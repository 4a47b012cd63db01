"""The dock in a real Chromium on a real server: how soon it opens without a network, reads, answers; what it keeps of memory.

Prints one row a figure: name, figure, asked for. Medians, unless the name says otherwise. Without a Chromium it says so.
"""

import json
import statistics
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, Page, Playwright, sync_playwright

from tests.e2e import films
from tests.e2e.conftest import ARGUMENTS, chromium_path
from tests.e2e.own_shop import COMPANY, SCANNED, WAITING, OwnShop

ITEMS, OPENINGS, ANSWERS, FORTY = 1_000, 15, 200, 40
EARLY, LATE = 500, 4_000  # scans; a busy hand makes the second in four hours
SEEN_S = 6

GEAR = f"""{COMPANY}
import json, uuid
from django.db import transaction
from inventory.services.cases import placement_record

show = make_show(load_in=at + timedelta(hours=2), name="Harvest ceilidh")
box = make_type(name="Bench box")
with transaction.atomic():
    items = [make_item(type=box, name=str(n)) for n in range({ITEMS})]
    case = make_case(name="4")
    for inside in items[-{FORTY}:]:
        placement_record(uid=uuid.uuid4(), item=inside, case=case, effective_at=at - timedelta(days=1))
print(json.dumps({{"session": session, "show": show.pk, "codes": [one.code for one in items], "case": case.code}}))
"""
# From the start of the navigation until the field has the focus and everything is known by heart.
USABLE = """
async () => {
  const part = () => performance.getEntriesByType("resource").find(({ name }) => name.includes("dock-desk"));
  for (;;) {
    await new Promise((done) => setTimeout(done, 4));
    if (document.activeElement?.id !== "code" || !part()) continue;
    if ((await import(part().name)).state.items.length) return performance.now();
  }
}
"""
# From the scanner's Enter until the frame that shows the answer.
ANSWERED = """
() => {
  window.answers = [];
  let began = null;
  document.addEventListener("keydown", (event) => event.key === "Enter" && (began = event.timeStamp), true);
  new MutationObserver(() => {
    if (began === null || !["fine", "look", "stop"].includes(document.getElementById("hit").dataset.signal)) return;
    const since = began;
    began = null;
    requestAnimationFrame(() => setTimeout(() => answers.push(performance.now() - since)));
  }).observe(document.getElementById("hit"), { attributes: true, childList: true });
}
"""
# Every picture that the decoder has looked at, and how long it took.
PICTURES = """
window.pictures = [];
const Plain = Worker;
window.Worker = class extends Plain {
  constructor(...given) {
    super(...given);
    const seen = ({ data: { codes, ms } }) => codes && pictures.push({ at: performance.now(), ms, codes: codes.length });
    this.addEventListener("message", seen);
  }
};
"""


def main() -> None:
    path = chromium_path()
    if path is None:
        print("the dock in a browser\tnot measured: no Chromium here\t-")
        return
    with tempfile.TemporaryDirectory(prefix="knowngood-dock-") as folder, sync_playwright() as playwright:
        shop = OwnShop(Path(folder))
        given = json.loads(shop.python(GEAR).splitlines()[-1])
        shop.serve()
        try:
            with browsed(playwright, shop, given) as context:
                opening(kept(context, given))
            with browsed(playwright, shop, given) as context:
                answering(kept(context, given), given)
            with browsed(playwright, shop, given) as context:
                forty(context, shop, given)
            for many in (False, True):
                seeing(playwright, shop, given, Path(folder), many=many)
            with browsed(playwright, shop, given) as context:
                remembering(context, given)
        finally:
            shop.kill()


def row(name: str, figure: str, asked: str) -> None:
    print(f"{name}\t{figure}\t{asked}", flush=True)


@contextmanager
def browsed(playwright: Playwright, shop: OwnShop, given: dict[str, Any], *more: str) -> Iterator[BrowserContext]:
    """Give a browser with a phone's window, signed in."""
    browser = playwright.chromium.launch(executable_path=chromium_path(), args=[*ARGUMENTS, *more])
    context = browser.new_context(base_url=shop.url, viewport={"width": 390, "height": 844}, permissions=["camera"])
    context.set_default_timeout(30_000)
    context.add_cookies([{"name": "knowngood", "value": given["session"], "url": shop.url}])
    try:
        yield context
    finally:
        browser.close()


def opened(context: BrowserContext, given: dict[str, Any]) -> Page:
    page = context.new_page()
    page.goto(f"/dock/?show={given['show']}&way=out")
    page.evaluate(USABLE)
    return page


def kept(context: BrowserContext, given: dict[str, Any]) -> BrowserContext:
    """Open the dock until the browser has kept it, then cut the network."""
    page = opened(context, given)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    until(page, lambda: page.evaluate("navigator.serviceWorker.controller !== null"))
    page.reload()
    page.evaluate(USABLE)
    page.close()
    context.set_offline(True)
    return context


def until(page: Page, true: Any, seconds: float = 60.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        if time.monotonic() > end:
            raise SystemExit("it did not come true in time")
        page.wait_for_timeout(5)


def opening(context: BrowserContext) -> None:
    times = []
    for _ in range(OPENINGS):
        page = context.new_page()
        page.goto("/dock/", wait_until="commit")
        times.append(page.evaluate(USABLE))
        page.close()
    row(f"dock usable from cache, {ITEMS} items by heart, ms", f"{statistics.median(times):.0f}", "under 1000")


def answering(context: BrowserContext, given: dict[str, Any]) -> None:
    page = context.new_page()
    page.goto("/dock/")
    page.evaluate(USABLE)
    page.evaluate(SCANNED, given["codes"][-2:-1])  # the first tells that there is no network
    until(page, lambda: page.locator("#waiting").is_visible())
    page.evaluate(ANSWERED)
    for n, code in enumerate(given["codes"][:ANSWERS]):
        page.keyboard.type(code)
        page.keyboard.press("Enter")
        until(page, lambda n=n: page.evaluate("answers.length") > n)
    times = page.evaluate("answers")
    row(f"answer to a scan without signal, of {ANSWERS}, ms", f"{statistics.median(times):.0f}", "under 100")
    row(f"the slowest of these {ANSWERS}, ms", f"{max(times):.0f}", "under 100")


def forty(context: BrowserContext, shop: OwnShop, given: dict[str, Any]) -> None:
    """Time a scanner's typing, 4 ms a letter, from the first letter until the shop has it all on record."""
    page = opened(context, given)
    out = "select count(*) from shows_checkout where closed_at is null"

    def typed(code: str) -> None:
        page.keyboard.type(code, delay=4)
        page.keyboard.press("Enter")

    def case() -> None:
        typed(given["case"])
        page.get_by_role("button", name=f"Yes, {FORTY}").click()

    def singly() -> None:
        for code in given["codes"][:FORTY]:
            typed(code)

    for name, scan, more in (
        (f"a case of {FORTY} out, one scan and one tap, s", case, FORTY + 1),
        (f"{FORTY} things out one by one, no pause of the hand, s", singly, FORTY),
    ):
        had = shop.rows(out)[0][0]
        began = time.monotonic()
        scan()
        until(page, lambda had=had, more=more: shop.rows(out)[0][0] == had + more)
        row(name, f"{time.monotonic() - began:.1f}", "under 15")


def seeing(playwright: Playwright, shop: OwnShop, given: dict[str, Any], folder: Path, *, many: bool) -> None:
    codes = given["codes"][100:112]
    frame = films.sheet(codes) if many else films.laid(films.label(codes[0]))
    film = films.film(folder / "film.y4m", [frame])
    fake = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream", f"--use-file-for-fake-video-capture={film}"]
    with browsed(playwright, shop, given, *fake) as context:
        context.add_init_script(f"localStorage.setItem('kg.many', '{'yes' if many else 'no'}');{PICTURES}")
        page = opened(context, given)
        page.locator("#camera").click()
        until(page, lambda: page.evaluate("pictures.some(({ codes }) => codes)"))
        page.evaluate("pictures.length = 0")
        page.wait_for_timeout(SEEN_S * 1000)
        seen = page.evaluate("pictures")
    rate = (len(seen) - 1) / (seen[-1]["at"] - seen[0]["at"]) * 1000
    what = "twelve codes in the whole picture" if many else "one code, aimed at"
    took = statistics.median(one["ms"] for one in seen)
    read = statistics.median(one["codes"] for one in seen)
    row(f"pictures of 720p decoded a second, {what} ({took:.0f} ms each, {read:.0f} read)", f"{rate:.1f}", "8 or more")


def remembering(context: BrowserContext, given: dict[str, Any]) -> None:
    """Scan things out and back as in four hours, the garbage collected, and compare what is left."""
    page = opened(context, given)
    tools = context.new_cdp_session(page)
    codes = given["codes"][200:450]

    def used() -> float:
        until(page, lambda: page.evaluate(WAITING) == 0, 120)
        page.wait_for_timeout(3000)  # what was answered is drawn, and no answer is wondered at any more
        tools.send("HeapProfiler.collectGarbage")
        return tools.send("Runtime.getHeapUsage")["usedSize"] / 1e6

    made, early = 0, 0.0
    while made < LATE:
        page.evaluate(SCANNED, [f"GO.{given['show']}.{'OUT' if made // len(codes) % 2 == 0 else 'BACK'}", *codes])
        made += len(codes)
        if made == EARLY:
            early = used()
        until(page, lambda: page.evaluate(WAITING) < len(codes), 120)
    late = used()
    row(f"memory after {EARLY} scans, MB", f"{early:.2f}", "-")
    row(f"memory after {LATE} scans, MB ({(late / early - 1) * 100:+.1f} %)", f"{late:.2f}", f"flat: under {early * 1.1:.2f}")


if __name__ == "__main__":
    main()
