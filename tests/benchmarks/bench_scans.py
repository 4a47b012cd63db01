"""Server time of scans on a full record: `VAR_DIR=... python -m tests.benchmarks.bench_scans 100000 8`.

Fills an empty database with many items, each with a history, then times one scan, a batch of 500, a case and an undo.
"""

import os
import statistics
import sys
import time
import uuid
from datetime import UTC, datetime, timedelta

import django

AT = datetime(2026, 9, 25, 9, 0, tzinfo=UTC)


def fill(items: int, stays: int) -> None:
    """Add items with labels, and for each a history of stays, written as rows."""
    from inventory.calc import codes
    from inventory.models import GearType, Item, Label
    from shows.models import Checkout, CustodyHead, Scan, Show

    box = GearType.objects.create(name="Bench box", kind="interface-box")
    shows = []
    for n in range(20):
        t = AT - timedelta(days=20 - n)
        step = timedelta(hours=1)
        times = {"load_in": t, "line_check": t + step, "start": t + 2 * step, "end": t + 4 * step, "strike": t + 5 * step}
        shows.append(
            Show(name=f"Show {n}", home_by=t + 6 * step, hold_from=t.date(), hold_until=t.date(), added_at=AT, **times)
        )
    Show.objects.bulk_create(shows)
    long_ago = AT - timedelta(days=400)
    for start in range(0, items, 5000):
        made = [Item(code=codes.mint(), type=box, added_at=long_ago) for _ in range(min(5000, items - start))]
        Item.objects.bulk_create(made)
        Label.objects.bulk_create([Label(code=i.code, item=i, minted_at=long_ago, bound_at=long_ago) for i in made])
        scans, checkouts, heads = [], [], []
        for item in made:
            for n in range(stays):
                out, back = uuid.uuid4(), uuid.uuid4()
                at = AT - timedelta(days=300 - n)
                pair = [(out, "out", at), (back, "back", at + timedelta(hours=8))]
                scans += [
                    Scan(uid=u, batch=u, code_text=item.code, code=item.code, action=a, show=shows[n % 20], received_at=t,
                         effective_at=t, outcome="accepted", signal="fine")
                    for u, a, t in pair
                ]  # fmt: skip
                checkouts.append(
                    Checkout(item=item, show=shows[n % 20], opened_uid=out, opened_at=at, evidence="seen", closed_uid=back,
                             closed_at=at + timedelta(hours=8), closed_evidence="seen", ended="back")
                )  # fmt: skip
            last = AT - timedelta(days=300 - stays)
            heads.append(CustodyHead(item=item, last_effective_at=last, last_uid=back, evidence="seen", seen_at=last))
        Scan.objects.bulk_create(scans)
        Checkout.objects.bulk_create(checkouts)
        CustodyHead.objects.bulk_create(heads)


def main(items: int, stays: int) -> None:
    from company.models import Person
    from inventory.models import Item
    from shows.models import Show
    from shows.services.scans import scans_record

    if not Item.objects.exists():
        fill(items, stays)
        Person.objects.create(username="bench", role="hand")
    person, show = Person.objects.get(username="bench"), Show.objects.order_by("-load_in").first()
    codes = list(Item.objects.order_by("?").values_list("code", flat=True)[:2000])
    clock = [AT + timedelta(days=1)]

    def scan(code: str, action: str, **more: object) -> dict:
        clock[0] += timedelta(seconds=1)
        key = show.pk if action != "undo" and show else None
        happened = clock[0].isoformat()
        return {"id": str(uuid.uuid4()), "code": code, "action": action, "show": key, "happened_at": happened, **more}

    def timed(scans: list[dict]) -> tuple[float, float]:
        start, cpu = time.perf_counter(), time.process_time()
        scans_record(actor=person, device="bench", sent_at=None, scans=scans, received_at=AT + timedelta(days=400))
        return (time.perf_counter() - start) * 1000, (time.process_time() - cpu) * 1000

    def line(name: str, runs: list[tuple[float, float]]) -> None:
        wall, cpu = zip(*runs, strict=True)
        middle = statistics.median
        print(f"{name:26} {middle(wall):7.1f} ms (worst {max(wall):.1f}), of processor {middle(cpu):7.1f} ms   n={len(runs)}")

    print(f"{Item.objects.count()} items, {stays} stays each")
    timed([scan(codes[-1], "out")])
    line("one scan out", [timed([scan(c, "out")]) for c in codes[:200]])
    line("one scan back", [timed([scan(c, "back")]) for c in codes[:200]])
    line("500 out in one batch", [timed([scan(c, "out") for c in codes[n : n + 500]]) for n in (500, 1000, 1400)])
    line("500 back in one batch", [timed([scan(c, "back") for c in codes[n : n + 500]]) for n in (500, 1000, 1400)])
    ill = {"condition": "suspect", "symptom": "hums"}
    line("500 back and suspect", [timed([scan(c, "back", **ill) for c in codes[500:1000]])])
    done = [scan(c, "out") for c in codes[:100]]
    timed(done)
    line("one undo", [timed([scan(d["code"], "undo", undoes=d["id"])]) for d in done])


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000, int(sys.argv[2]) if len(sys.argv) > 2 else 8)
