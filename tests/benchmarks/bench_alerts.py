"""Measure what it takes to find out what to speak up about, in a shop of 100,000 items and 2,000 shows.

Prints one row a figure: name, figure, limit. Run it as `python -m tests.benchmarks.bench_alerts [items] [shows]`. All rules
together answer in under 30 s and 500 MB, in a process of their own; raising and telling included. A run with nothing new: 10 s.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

FIRST_S, QUIET_S, MEGABYTES, WAIT_MS = 30.0, 10.0, 500.0, 200.0


def main() -> int:
    items = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    shows = int(sys.argv[2]) if len(sys.argv) > 2 else 2_000
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "VAR_DIR": folder, "DJANGO_SETTINGS_MODULE": "config.settings", "DATABASE_URL": ""}
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], env=environment, check=True)

        def child(*words: str) -> str:
            command = [sys.executable, "-m", "tests.benchmarks.bench_alerts", "--child", *words]
            return subprocess.run(command, env=environment, stdout=subprocess.PIPE, text=True, check=True).stdout

        child("fill", str(items), str(shows))
        said = f"alerts, {items} items and {shows} shows"
        for line in child("rules").splitlines():
            rule, seconds, causes, queries = line.split("\t")
            print(f"{said}, rule {rule}: {causes} causes, {queries} queries, seconds\t{seconds}\t-")
        for name, limit in (("first run", FIRST_S), ("quiet run", QUIET_S)):
            seconds, megabytes, raised, longest = child("run").split()
            print(f"{said}, {name}, seconds\t{seconds}\t{limit:g}")
            print(f"{said}, {name}, most memory MB\t{megabytes}\t{MEGABYTES:g}")
            print(f"{said}, {name}, raised\t{raised}\t-")
            print(f"{said}, {name}, longest transaction ms\t{longest}\t{WAIT_MS:g}")
    return 0


def fill(items: int, shows: int) -> None:
    """Fill the shop as for the pages, and add a busy week: gear away, things lent and borrowed, scans that disagree."""
    import uuid

    from django.db import connection

    from inventory.models import Item
    from inventory.search_index import refresh_statistics
    from maintenance.models import CellLot, CellMove, CellType
    from shows.models import Checkout, Contradiction, PullRow, Show
    from tests.benchmarks.shop import an_instant, powered_items
    from tests.benchmarks.shop import fill as fill_shop

    at = an_instant()
    fill_shop(items, shows, at)
    coming = list(Show.objects.coming_at(at).order_by("load_in"))
    powered_items(coming[0], at)
    over = Show.objects.filter(home_by__lt=at).order_by("-home_by")[:20]
    free = list(
        Item.objects.filter(custody="", suspect_since=None, missing_since=None).order_by("pk")[: min(items // 20, 1_000)]
    )
    away = zip((show for show in over for _ in range(25)), free, strict=False)
    stays = [Checkout(item=i, show=s, opened_uid=uuid.uuid4(), opened_at=s.load_in, evidence="seen") for s, i in away]
    Checkout.objects.bulk_create(stays)
    for stay in stays:
        Item.objects.filter(pk=stay.item_id).update(custody="show", custody_show=stay.show_id, custody_since=stay.opened_at)
    day = at.date()
    rest = free[len(stays) :]
    Item.objects.filter(pk__in=[i.pk for i in rest[:200]]).update(borrowed_from="a friend", give_back_by=day)
    lent = {"lent_to": "a school", "lent_on": day - timedelta(days=9), "lent_home_by": day}
    Item.objects.filter(pk__in=[i.pk for i in rest[200:400]]).update(**lent)
    Contradiction.objects.bulk_create(
        Contradiction(item=i, scan_uid=uuid.uuid4(), kind="out twice", said="It was out to another show.", happened_at=at)
        for i in free[:300]
    )
    suspect = Item.objects.filter(suspect_since__isnull=False).order_by("pk")[:100]
    PullRow.objects.bulk_create(
        PullRow(show=coming[n % len(coming)], type_id=i.type_id, item=i, length_mm=i.length_mm, rank=900 + n)
        for n, i in enumerate(suspect)
    )
    able = Item.objects.filter(suspect_since=None, missing_since=None, lent_to="", type__has_standing=True).order_by("pk")
    keys = list(able.values_list("pk", flat=True)[: min(items // 20, 4_000)])
    for turn, by in enumerate((day + timedelta(days=3), day - timedelta(days=5))):
        Item.objects.filter(pk__in=keys[turn::2]).update(test_by=by)
    cell = CellType.objects.get(key="6LR61")
    CellType.objects.filter(pk=cell.pk).update(keep_at_least=5_000)
    lots = CellLot.objects.bulk_create(CellLot(type=cell, expires_on=day + timedelta(days=n), added_at=at) for n in range(50))
    CellMove.objects.bulk_create(CellMove(uid=uuid.uuid4(), lot=lot, delta=20, why="bought", at=at) for lot in lots)
    refresh_statistics(connection)


def rules() -> None:
    """Ask every rule once, in order: how long, how much it found, in how many queries."""
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from company.clock import now
    from company.registries import ALERT_RULES

    at = now()
    for one in ALERT_RULES:
        rule = one()
        began = time.perf_counter()
        with CaptureQueriesContext(connection) as caught:
            causes = len(list(rule.find(at, rule.terms)))
        print(f"{rule.key}\t{time.perf_counter() - began:.2f}\t{causes}\t{len(caught)}")


def run() -> None:
    """Run all rules as the worker does."""
    from company.clock import now
    from maintenance.models import Alert
    from maintenance.services.alerts import alerts_run

    before = Alert.objects.count()
    with transactions_timed() as spans:
        began = time.perf_counter()
        alerts_run(at=now())
        took = time.perf_counter() - began
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{took:.1f} {most:.0f} {Alert.objects.count() - before} {max(spans, default=0) * 1000:.0f}")


@contextmanager
def transactions_timed() -> Iterator[list[float]]:
    """Collect how long each outermost transaction was open, in seconds."""
    from django.db import connection, transaction

    spans: list[float] = []
    began_at: list[float] = []
    real_enter, real_exit = transaction.Atomic.__enter__, transaction.Atomic.__exit__

    def enter(self: transaction.Atomic) -> None:
        if not connection.in_atomic_block:
            began_at.append(time.perf_counter())
        real_enter(self)

    def leave(self: transaction.Atomic, *error: object) -> None:
        real_exit(self, *error)  # type: ignore[arg-type]
        if not connection.in_atomic_block:
            spans.append(time.perf_counter() - began_at.pop())

    transaction.Atomic.__enter__, transaction.Atomic.__exit__ = enter, leave  # type: ignore[method-assign,assignment]
    try:
        yield spans
    finally:
        transaction.Atomic.__enter__, transaction.Atomic.__exit__ = real_enter, real_exit  # type: ignore[method-assign]


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        import django

        django.setup()
        if sys.argv[2] == "fill":
            fill(int(sys.argv[3]), int(sys.argv[4]))
        else:
            {"rules": rules, "run": run}[sys.argv[2]]()
    else:
        raise SystemExit(main())
