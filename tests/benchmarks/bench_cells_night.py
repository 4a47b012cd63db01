"""Work out the cells of 100,000 devices as the worker does by night: read from the record, forecast, written back.

Prints one row a figure: name, figure, limit. Run it as `python -m tests.benchmarks.bench_cells_night [devices] [shows]`.
The record is invented: boxes and transmitters, ten lines of shows each in half a year, two in five with a reading, one in ten
with a set that came out lately, one in five with a draw of its own.
"""

import os
import random
import resource
import subprocess
import sys
import tempfile
import time
import uuid
from datetime import timedelta
from math import log
from typing import Any

SUMS_S, MEGABYTES, WAIT_MS = 5.0, 500.0, 200.0  # seconds: of the forecasts themselves
TYPES, LINES, AT_A_TIME = 20, 10, 20_000


def main() -> int:
    devices = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    shows = int(sys.argv[2]) if len(sys.argv) > 2 else 500
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "VAR_DIR": folder, "DJANGO_SETTINGS_MODULE": "config.settings", "DATABASE_URL": ""}
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], env=environment, check=True)

        def child(*words: str) -> str:
            command = [sys.executable, "-m", "tests.benchmarks.bench_cells_night", "--child", *words]
            return subprocess.run(command, env=environment, stdout=subprocess.PIPE, text=True, check=True).stdout

        # processes of their own: what filling takes is no part of what reckoning takes
        child("fill", str(devices), str(shows))
        for name in ("the first night", "a night after 300 shows' lines", "a night with nothing new"):
            seconds, sums, megabytes, longest, written, learnt = child("night", str(int("300" in name))).split()
            said = f"cells of {devices} devices, {name}"
            print(f"{said}, seconds\t{seconds}\t-")
            print(f"{said}, seconds of forecasts\t{sums}\t{SUMS_S:g}")
            print(f"{said}, most memory MB\t{megabytes}\t{MEGABYTES:g}")
            print(f"{said}, rows written\t{written}\t-")
            print(f"{said}, draws learnt anew\t{learnt}\t-")
            print(f"{said}, longest transaction ms\t{longest}\t{WAIT_MS:g}")
    return 0


def fill(devices: int, shows: int) -> None:
    """Write the shop by prepared statements: as it would be after half a year of shows."""
    from django.db import connection

    from company.clock import now
    from company.models import Company
    from inventory.calc import codes
    from inventory.calc.kinds import Kind
    from inventory.models import GearType, Item
    from inventory.search_index import refresh_statistics
    from maintenance.models import CellPlan, CellReading, CellType, DeviceDraw, FittedSet, Swap, UseLedger
    from maintenance.services.cell_night import _pools_reckon
    from maintenance.services.cell_types import cell_types_load
    from shows.models import Show, Venue

    at = now().replace(microsecond=0)
    pick = random.Random(7)
    company = Company.current()
    company.name, company.set_up_at = "Bench Sound", at
    company.save()
    cell_types_load()
    block, pair = CellType.objects.get(key="6LR61"), CellType.objects.get(key="LR6")
    made = []
    for n in range(TYPES):
        box = n % 2 == 0
        kind = Kind.INTERFACE_BOX if box else Kind.TRANSMITTER
        type_ = GearType.objects.create(name=f"{kind} {n}", kind=kind, bays=1, cell_size="6LR61" if box else "LR6")
        of = (
            {"draw": 4.5, "stops_below_v": 6.0}
            if box
            else {"load": "power", "draw": 520, "stops_below_v": 1.9, "cells_a_bay": 2}
        )
        CellPlan.objects.create(type=type_, sigma=0.3, standby_ma=0.0, **of)
        made.append(type_)
    venue = Venue.objects.create(name="Hall")
    held = []
    for n in range(shows):
        load_in = at - timedelta(days=180 * (n + 1) / shows)
        of = {"load_in": load_in, "line_check": load_in + timedelta(hours=2), "start": load_in + timedelta(hours=4)}
        of |= {"end": load_in + timedelta(hours=7), "strike": load_in + timedelta(hours=8)}
        days = {
            "home_by": load_in + timedelta(hours=10),
            "hold_from": load_in.date(),
            "hold_until": load_in.date(),
            "added_at": load_in,
        }
        held.append(Show(name=f"show {n}", venue=venue, **of, **days))
    Show.objects.bulk_create(held)
    when = {show.pk: show for show in Show.objects.all()}
    keys = list(when)

    _put(
        Item,
        [
            {
                "code": codes.mint(pick.randrange),
                "type_id": made[n % TYPES].pk,
                "name": f"{n}",
                "added_at": at - timedelta(days=900),
            }
            for n in range(devices)
        ],
    )
    items = list(Item.objects.order_by("pk").values_list("pk", "type_id"))
    boxes = {type_.pk for type_ in made[::2]}
    for start in range(0, len(items), AT_A_TIME):
        swaps: list[dict[str, Any]] = []
        sets: list[dict[str, Any]] = []
        readings: list[dict[str, Any]] = []
        uses: list[dict[str, Any]] = []
        draws: list[dict[str, Any]] = []
        for item, type_id in items[start : start + AT_A_TIME]:
            box = type_id in boxes
            cell, cells = (block, 1) if box else (pair, 2)
            fitted_at = at - timedelta(days=pick.uniform(1, 170))
            spans = [(fitted_at, None)]
            if pick.random() < 0.1:
                out = at - timedelta(days=pick.uniform(1, 20))
                spans = [(out - timedelta(days=60), out), (out, None)]
            for since, until in spans:
                uid = _uid(pick)
                of = {"item_id": item, "type_id": cell.pk, "cells": cells, "was_new": True}
                swaps.append({"uid": uid, **of, "done_at": since, "received_at": since, "reason": "precaution"})
                ended = {"removed_at": until, "removed_because": "precaution" if until else ""}
                sets.append({**of, "opened_uid": uid, "fitted_at": since, **ended})
            if pick.random() < 0.4:
                read_at = fitted_at + (at - fitted_at) * pick.random()
                volts = pick.uniform(7.4, 9.2) if box else pick.uniform(2.4, 3.0)
                of = {"item_id": item, "volts": volts, "load_ohm": 620.0 if box else 20.0}
                readings.append({"uid": _uid(pick), **of, "read_at": read_at, "received_at": read_at})
            for show in pick.sample(keys, min(LINES, len(keys))):
                fed = "cells" if pick.random() < 0.5 else "phantom"
                of = {"item_id": item, "occasion": f"show:{show}", "day": when[show].load_in.date(), "state": "done"}
                uses.append({**of, "on_minutes": 300, "fed_by": fed, "basis": "line"})
            if pick.random() < 0.2:
                mean = log(4.5 if box else 520) + pick.gauss(0, 0.2)
                draws.append({"item_id": item, "mean_ln": mean, "var_ln": 0.02, "sets": 3, "made_at": at})
        for model, rows in ((Swap, swaps), (FittedSet, sets), (CellReading, readings), (UseLedger, uses), (DeviceDraw, draws)):
            _put(model, rows)
    _pools_reckon(at, None)
    refresh_statistics(connection)


def _put(model: Any, rows: list[dict[str, Any]]) -> None:
    from django.db import transaction

    from company.rows import rows_insert

    fields = [f for f in model._meta.concrete_fields if f.attname not in rows[0] and not (f.primary_key and not f.remote_field)]
    blank = {f.attname: f.get_default() for f in fields}
    with transaction.atomic():
        rows_insert(model, [*rows[0], *blank], ([*row.values(), *blank.values()] for row in rows))


def _uid(pick: random.Random) -> uuid.UUID:
    return uuid.UUID(int=pick.getrandbits(128), version=4)


def night(news: bool) -> None:
    """Do a night's work; with news, after another line was written for 300 devices."""
    from django.db import connection, transaction

    from company.clock import now
    from inventory.models import Item
    from maintenance import cell_evidence
    from maintenance.models import UseLedger
    from maintenance.services.cell_night import cells_reckon

    at = now()
    if news:
        day = (at - timedelta(days=1)).date()
        keys = list(Item.objects.order_by("pk").values_list("pk", flat=True)[:300])
        of = {"day": day, "state": "done", "on_minutes": 300, "fed_by": "cells", "basis": "line"}
        UseLedger.objects.bulk_create(UseLedger(item_id=item, occasion="show:other", **of) for item in keys)
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
    sums = 0.0
    real_lives = cell_evidence.lives_of

    def lives_of(*given: Any) -> Any:
        nonlocal sums
        start = time.perf_counter()
        found = real_lives(*given)
        sums += time.perf_counter() - start
        return found

    cell_evidence.lives_of = lives_of  # type: ignore[assignment]
    began = time.perf_counter()
    done = cells_reckon(at=at)
    took = time.perf_counter() - began
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{took:.1f} {sums:.2f} {most:.0f} {max(spans, default=0) * 1000:.0f} {done.written} {done.learnt}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        import django

        django.setup()
        fill(int(sys.argv[3]), int(sys.argv[4])) if sys.argv[2] == "fill" else night(sys.argv[3] == "1")
    else:
        raise SystemExit(main())
