"""Work out when to test 100,000 items of 300 types again, all of them and one after its test, while another connection writes.

Prints one row a figure: name, figure, limit. Run it as `python -m tests.benchmarks.bench_retest [items] [types]`.
The record is invented: 3 tests and 10 shows an item, 1 report in 20 items, 1 repair in 25, seven years of them.
"""

import os
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

SECONDS, MEGABYTES, ONE_MS, WAIT_MS = 20.0, 500.0, 50.0, 200.0
TESTS, SHOWS = 3, 10  # an item
RUNS = 15


def main() -> int:
    items = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    types = int(sys.argv[2]) if len(sys.argv) > 2 else 300
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "VAR_DIR": folder, "DJANGO_SETTINGS_MODULE": "config.settings", "DATABASE_URL": ""}
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], env=environment, check=True)

        def child(*words: str) -> "subprocess.Popen[str]":
            command = [sys.executable, "-m", "tests.benchmarks.bench_retest", "--child", *words]
            return subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)

        # a process of its own: what filling takes is no part of what reckoning takes
        if child("fill", str(items), str(types)).wait():
            return 1
        from tests.benchmarks.bench_import import _Scans

        for name in ("the first time", "again after 300 tests", "again, nothing new"):
            scans = _Scans(Path(folder) / "knowngood.sqlite3")
            scans.start()
            process = child("all", str(int("300" in name)))
            answer = process.stdout.read()  # type: ignore[union-attr]
            scans.over.set()
            scans.join()
            if process.wait():
                return 1
            seconds, megabytes, longest, written = answer.split()
            said = f"retest dates of {items} items in {types} types, {name}"
            print(f"{said}, seconds\t{seconds}\t{SECONDS}")
            print(f"{said}, most memory MB\t{megabytes}\t{MEGABYTES}")
            print(f"{said}, rows written\t{written}\t-")
            print(f"{said}, longest transaction ms\t{longest}\t{WAIT_MS}")
            print(f"{said}, longest wait of {scans.count} scans ms\t{scans.longest * 1000:.0f}\t-")
        process = child("wear")
        answer = process.stdout.read()  # type: ignore[union-attr]
        if process.wait():
            return 1
        seconds, longest, looked = answer.split()
        print(f"wear looked for in {looked} types the first time, seconds\t{seconds}\t-")
        print(f"wear looked for in one type, longest seconds\t{longest}\t-")
        process = child("one")
        answer = process.stdout.read()  # type: ignore[union-attr]
        if process.wait():
            return 1
        middle, longest, queries = answer.split()
        print(f"one item after its own test, median ms\t{middle}\t{ONE_MS}")
        print(f"one item after its own test, longest ms\t{longest}\t-")
        print(f"one item after its own test, queries\t{queries}\t-")
    return 0


def fill(items: int, types: int) -> None:
    """Write the shop by prepared statements: as it would be after years of work."""
    from django.db import connection, transaction

    from company.clock import now
    from company.models import Company, Person
    from company.rows import rows_insert
    from inventory.calc import codes
    from inventory.calc.kinds import Kind
    from inventory.models import GearType, Item
    from inventory.search_index import refresh_statistics
    from maintenance.models import BenchSettings, BenchTest, Fault, Repair, UseLedger

    at = now().replace(microsecond=0)
    pick = random.Random(11)
    company = Company.current()
    company.name, company.set_up_at = "Bench Sound", at
    company.save()
    Person.objects.create_user(username="owner", password=uuid.uuid4().hex, role="owner")
    BenchSettings.current()
    kinds = [Kind.LEAD, Kind.INTERFACE_BOX, Kind.MICROPHONE, Kind.TRANSMITTER, Kind.LOUDSPEAKER]
    made = GearType.objects.bulk_create(
        GearType(name=f"{kinds[n % 5]} type {n}", kind=kinds[n % 5], has_standing=True) for n in range(types)
    )
    born = at - timedelta(days=2500)
    day = at.date()

    def put(model: Any, rows: list[dict[str, Any]]) -> None:
        if not rows:
            return
        blank = {
            f.attname: f.get_default() for f in model._meta.concrete_fields if not f.primary_key and f.attname not in rows[0]
        }
        names = [*rows[0], *blank]
        with transaction.atomic():
            rows_insert(model, names, ([*row.values(), *blank.values()] for row in rows))

    put(
        Item,
        [
            {"code": codes.mint(pick.randrange), "type_id": made[n % types].pk, "name": f"{n}", "added_at": born}
            for n in range(items)
        ],
    )
    keys = list(Item.objects.order_by("pk").values_list("pk", "type_id"))
    rate = {t.pk: pick.lognormvariate(-5.3, 0.8) for t in made}
    for start in range(0, len(keys), 20_000):
        tests: list[dict[str, Any]] = []
        uses: list[dict[str, Any]] = []
        faults: list[dict[str, Any]] = []
        repairs: list[dict[str, Any]] = []
        for item, type_id in keys[start : start + 20_000]:
            tested = sorted(pick.randrange(2400) for _ in range(TESTS))
            for when in tested:
                failed = pick.random() < 4 * rate[type_id]
                done_at = born + timedelta(days=when, hours=10)
                tests.append(_test(pick, item, done_at, "fail" if failed else "pass"))
                if failed:
                    repairs.append(_repair(pick, item, done_at + timedelta(days=1)))
                    tests.append(_test(pick, item, done_at + timedelta(days=1, hours=1), "pass"))
            shows = pick.sample(range(2490), SHOWS)
            uses += [
                {
                    "item_id": item,
                    "occasion": f"show:{when}",
                    "day": day - timedelta(days=2500 - when),
                    "state": "done",
                    "shows": 1,
                    "on_minutes": 0,
                    "basis": "line" if when % 3 else "carried",
                }
                for when in shows
            ]
            if pick.random() < 0.05:
                heard = born + timedelta(days=shows[0], hours=20)
                faults.append(_fault(pick, item, heard, shows[0]))
                repairs.append(_repair(pick, item, heard + timedelta(days=2)))
        put(BenchTest, tests)
        put(UseLedger, uses)
        put(Fault, faults)
        put(Repair, repairs)
    refresh_statistics(connection)


def _uid(pick: random.Random) -> uuid.UUID:
    return uuid.UUID(int=pick.getrandbits(128), version=4)


def _test(pick: random.Random, item: int, at: datetime, verdict: str) -> dict[str, Any]:
    depth = pick.choice(["lamps", "lamps-flexed", "ohms", "ohms-flexed"])
    return {
        "uid": _uid(pick),
        "item_id": item,
        "procedure": "word",
        "depth": depth,
        "done_at": at,
        "received_at": at,
        "verdict": verdict,
    }


def _repair(pick: random.Random, item: int, at: datetime) -> dict[str, Any]:
    return {"uid": _uid(pick), "item_id": item, "done_at": at, "did": "Resoldered end B."}


def _fault(pick: random.Random, item: int, at: datetime, show: int) -> dict[str, Any]:
    return {
        "uid": _uid(pick),
        "item_id": item,
        "show": show,
        "symptom": "hums",
        "opened_at": at,
        "found": pick.choice(["line check", "show", "after"]),
        "closed_at": at + timedelta(days=2),
        "closed_how": "Resoldered.",
    }


def reckon_all(news: bool) -> None:
    """Reckon all; with news, after 300 tests more."""
    from django.db import connection, transaction

    from company.clock import now
    from inventory.models import Item
    from maintenance.models import BenchTest
    from maintenance.services.retest import types_reckon

    at = now()
    if news:
        pick = random.Random(int(at.timestamp()))
        for item in pick.sample(list(Item.objects.values_list("pk", flat=True)), 300):
            row = _test(pick, item, at, "pass")
            BenchTest.objects.create(**row)
    spans: list[float] = []
    began_at: list[float] = []

    real_enter, real_exit = transaction.Atomic.__enter__, transaction.Atomic.__exit__

    def enter(self: Any) -> None:
        if not connection.in_atomic_block:
            began_at.append(time.perf_counter())
        real_enter(self)

    def leave(self: Any, *error: Any) -> None:
        real_exit(self, *error)
        if not connection.in_atomic_block:
            spans.append(time.perf_counter() - began_at.pop())

    transaction.Atomic.__enter__, transaction.Atomic.__exit__ = enter, leave  # type: ignore[method-assign,assignment]
    began = time.perf_counter()
    done = types_reckon(at=at)
    took = time.perf_counter() - began
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{took:.1f} {most:.0f} {max(spans, default=0) * 1000:.0f} {done.written}")


def look_for_wear() -> None:
    """Look for wear in every type at once, as the first night after the reckoning does."""
    from company.clock import now
    from maintenance.services.retest_wear import wear_look

    told: list[float] = []
    began = time.perf_counter()
    looked = wear_look(at=now(), progress=lambda _done, _total: told.append(time.perf_counter()))
    ended = time.perf_counter()
    longest = max((b - a for a, b in zip(told, [*told[1:], ended], strict=True)), default=0.0)
    print(f"{ended - began:.1f} {longest:.2f} {looked.types}")


def reckon_one() -> None:
    """Reckon single items, each right after a test of its own, as recording a test does."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from company.clock import now
    from inventory.models import Item
    from maintenance.models import BenchTest
    from maintenance.services.retest import item_reckon

    pick = random.Random()
    items = list(Item.objects.select_related("type").filter(pk__in=pick.sample(range(1, Item.objects.count()), RUNS + 2)))
    times = []
    queries = 0
    for number, item in enumerate(items):
        at = now()
        BenchTest.objects.create(**_test(pick, item.pk, at, "pass"))
        if number == 0:
            with CaptureQueriesContext(connection) as caught:
                item_reckon(item=item, at=at)
            queries = len(caught)
            continue
        began = time.perf_counter()
        item_reckon(item=item, at=at)
        times.append((time.perf_counter() - began) * 1000)
    print(f"{statistics.median(times):.1f} {max(times):.1f} {queries}")


if __name__ == "__main__":
    if "--child" in sys.argv:
        import django

        django.setup()
        what = sys.argv[2]
        if what == "fill":
            fill(int(sys.argv[3]), int(sys.argv[4]))
        elif what == "all":
            reckon_all(sys.argv[3] == "1")
        elif what == "wear":
            look_for_wear()
        else:
            reckon_one()
    else:
        sys.exit(main())
