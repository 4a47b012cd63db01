"""Server time of scans on a full record: every item has a history of stays, every scan of it is on record.

Prints one row a figure: name, figure, asked for. A figure is the median of processor time, which other programs on the machine
disturb least; the wall's median stands in the name. Run it as `python tests/benchmarks/bench_scans.py [items] [stays each]`.
"""

import os
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

AT = datetime(2026, 9, 25, 9, 0, tzinfo=UTC)
ONE_MS, BATCH_MS = "under 10", "under 300"


def fill(items: int, stays: int) -> None:
    """Add items with labels, and for each a history of stays with their scans, written as rows."""
    from company.rows import rows_insert
    from inventory.calc import codes
    from inventory.models import GearType, Item, Label
    from shows.models import Checkout, CustodyHead, Scan, Show

    box = GearType.objects.create(name="Bench box", kind="interface-box")
    step, shows = timedelta(hours=1), []
    for n in range(20):
        t = AT - timedelta(days=20 - n)
        times = {"load_in": t, "line_check": t + step, "start": t + 2 * step, "end": t + 4 * step, "strike": t + 5 * step}
        shows.append(
            Show(name=f"Show {n}", home_by=t + 6 * step, hold_from=t.date(), hold_until=t.date(), added_at=AT, **times)
        )
    Show.objects.bulk_create(shows)
    long_ago = AT - timedelta(days=400)
    made = Item.objects.bulk_create(Item(code=codes.mint(), type=box, added_at=long_ago) for _ in range(items))
    Label.objects.bulk_create(Label(code=i.code, item=i, minted_at=long_ago, bound_at=long_ago) for i in made)
    scans, checkouts, heads = [], [], []
    for item in made:
        for n in range(stays):
            out, back, show = uuid.uuid4(), uuid.uuid4(), shows[n % 20].pk
            left = AT - timedelta(days=300 - n)
            home = left + timedelta(hours=8)
            scans.append((out, item.code, "out", show, left))
            scans.append((back, item.code, "back", show, home))
            checkouts.append((item.pk, show, out, left, back, home))
        heads.append((item.pk, home, back, home))
    columns = ("device", "seq", "condition", "symptom", "note", "missing", "replaces", "into", "ticked", "reason", "said")
    plain = ("bench", 0, "", "", "", [], "", "", False, "", "")
    rows_insert(
        Scan,
        (
            "uid",
            "batch",
            "code_text",
            "code",
            "action",
            "show_id",
            "received_at",
            "effective_at",
            "outcome",
            "signal",
            *columns,
        ),
        ((uid, uid, code, code, action, show, at, at, "accepted", "fine", *plain) for uid, code, action, show, at in scans),
    )
    opened = ("item_id", "show_id", "opened_uid", "opened_at", "closed_uid", "closed_at")
    rows_insert(
        Checkout,
        (*opened, "evidence", "closed_evidence", "ended"),
        ((*row, "seen", "seen", "back") for row in checkouts),
    )
    rows_insert(
        CustodyHead,
        ("item_id", "last_effective_at", "last_uid", "seen_at", "evidence", "last_device", "last_seq", "folds"),
        ((*row, "seen", "bench", 0, stays) for row in heads),
    )


def main(items: int, stays: int) -> None:
    from django.core.management import call_command
    from django.db import connection, transaction
    from django.test.utils import CaptureQueriesContext

    from company.models import Company, Person
    from inventory.models import Item
    from shows.models import Show
    from shows.services.scans import scans_record

    call_command("migrate", verbosity=0)
    Company.current()
    with transaction.atomic():
        fill(items, stays)
    person, show = Person.objects.create(username="bench", role="hand"), Show.objects.order_by("-load_in")[0]
    codes = list(Item.objects.order_by("?").values_list("code", flat=True)[:2_500])
    clock = [AT + timedelta(days=1)]

    def scan(code: str, action: str, **more: object) -> dict:
        clock[0] += timedelta(seconds=1)
        key = show.pk if action != "undo" else None
        return {"id": str(uuid.uuid4()), "code": code, "action": action, "show": key, "happened_at": clock[0], **more}

    def send(scans: list[dict]) -> None:
        answers = scans_record(actor=person, device="bench", sent_at=None, scans=scans, received_at=AT + timedelta(days=400))
        if any(answer.outcome != "accepted" for answer in answers):
            raise SystemExit(f"A scan was answered {answers[0]}")

    def row(name: str, asked: str, batches: list[list[dict]]) -> None:
        with CaptureQueriesContext(connection) as queries:
            send(batches.pop())
        wall, processor = zip(*[_timed(lambda batch=batch: send(batch)) for batch in batches], strict=True)  # type: ignore[misc]
        middle = statistics.median
        print(
            f"{name}, of {items} items with {stays} stays each, ms ({len(queries)} queries, wall {middle(wall):.1f})"
            f"\t{middle(processor):.1f}\t{asked}",
            flush=True,
        )

    parts = [codes[n : n + 500] for n in range(0, len(codes), 500)]
    send([scan(codes[-1], "out")])
    row("one scan out", ONE_MS, [[scan(c, "out")] for c in codes[:120]])
    row("one scan back", ONE_MS, [[scan(c, "back")] for c in codes[:120]])
    row("500 scans out in a batch", BATCH_MS, [[scan(c, "out") for c in part] for part in parts])
    row("500 scans back in a batch", BATCH_MS, [[scan(c, "back") for c in part] for part in parts])
    ill = {"condition": "suspect", "symptom": "hums"}
    row("500 scans back, all suspect", "-", [[scan(c, "back", **ill) for c in part] for part in parts[:3]])
    done = [scan(c, "inspect") for c in codes[:60]]
    send(done)
    row("one undo", "-", [[scan(d["code"], "undo", undoes=d["id"])] for d in done])


def _timed(work: Callable[[], None]) -> tuple[float, float]:
    wall, processor = time.perf_counter(), time.process_time()
    work()
    return (time.perf_counter() - wall) * 1000, (time.process_time() - processor) * 1000


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:3]]
    with tempfile.TemporaryDirectory(prefix="knowngood-bench-") as folder:
        os.environ["VAR_DIR"] = folder
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
        import django

        django.setup()
        main(given[0] if given else 10_000, given[1] if len(given) > 1 else 8)
