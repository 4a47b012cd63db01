"""Forecast the cells of 100,000 devices at once, one by one, and one alone; one device after a scan; a show's swap list.

Prints one row a figure: name, figure, limit. Run it as `python -m tests.benchmarks.bench_cells [devices]`.
The fleet is invented: active boxes, transmitters and the rest, two in five with a reading, some cold, some not new.
"""

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from datetime import timedelta
from math import log
from pathlib import Path

import numpy as np

SECONDS, MEGABYTES, TIMES, ONE_MS, APART = 5.0, 500.0, 50.0, 5.0, 1e-6
SCANNED_MS, FEW, MANY, SETS_BEFORE = 20.0, 20, 200, 13  # as many sets as are learnt from, and one in it
NEED_H = 5.0
ALONE = 2_000  # devices taken one by one: the whole fleet would take minutes
RUNS = 3
TIMED = 25


def main() -> int:
    devices = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    # a process of its own: what one by one takes is no part of what many at once take
    command = [sys.executable, "-m", "tests.benchmarks.bench_cells", "--child", str(devices)]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
    seconds, megabytes = (float(word) for word in done.stdout.split())
    print(f"cells of {devices} devices forecast at once, seconds\t{seconds:.2f}\t{SECONDS}")
    print(f"cells of {devices} devices forecast at once, most memory MB\t{megabytes:.0f}\t{MEGABYTES}")
    each, one_ms, apart = one_by_one(devices)
    print(f"cells of devices, times faster than one by one\t{each * devices / seconds:.0f}\t{TIMES:.0f} or more")
    print(f"cells of devices, furthest from one by one\t{apart:.1e}\t{APART:.0e}")
    print(f"cells of one device, median ms\t{one_ms:.2f}\t{ONE_MS}")
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "VAR_DIR": folder, "DJANGO_SETTINGS_MODULE": "config.settings", "DATABASE_URL": ""}
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], env=environment, check=True)
        command = [sys.executable, "-m", "tests.benchmarks.bench_cells", "--record"]
        subprocess.run(command, env=environment, check=True)
    return 0


def invented(devices: int):
    """Return the kinds and the fleet."""
    from maintenance.calc.cell_forecast import fleet_of
    from maintenance.calc.cells import kind_of

    rows = json.loads((Path(__file__).resolve().parents[2] / "fixtures" / "cells.json").read_text())["types"]
    kinds = [kind_of(row) for row in rows if row["curve"]]
    place = {kind.key: n for n, kind in enumerate(kinds)}
    dice = np.random.default_rng(11)
    box = dice.random(devices) < 0.6
    pair = np.where(dice.random(devices) < 0.6, place["LR6"], place["HR6"])
    hours = dice.uniform(0, 1, devices) * np.where(box, 60, 6)
    volts = np.where(box, dice.uniform(6.8, 9.4, devices), dice.uniform(2.3, 2.9, devices))
    fleet = fleet_of(
        devices,
        kind=np.where(box, np.where(dice.random(devices) < 0.85, place["6LR61"], place["9V-lithium"]), pair),
        load=np.where(box, 0, 2),
        mean_ln=np.where(box, log(4.5), log(520)) + 0.3 * dice.standard_normal(devices),
        var_ln=dice.choice([0.08, 0.15, 0.25, 0.45], devices) ** 2,
        stops_below_v=np.where(box, 6.0, 1.9),
        in_series=np.where(box, 1, 2),
        hours=hours,
        age_years=dice.uniform(0, 3, devices),
        celsius=np.where(dice.random(devices) < 0.1, 4.0, 20.0),
        same_batch=dice.random(devices) < 0.8,
        was_new=dice.random(devices) < 0.95,
        seen_volts=np.where(dice.random(devices) < 0.4, volts, np.nan),
        seen_hours=hours * dice.uniform(0.3, 1, devices),
        seen_own_load=dice.random(devices) < 0.5,
    )
    return kinds, fleet


def at_once(devices: int) -> None:
    """Print the median seconds of a few runs and the most memory of the process."""
    from maintenance.calc.cell_forecast import lives_of

    kinds, fleet = invented(devices)
    need = np.full(devices, NEED_H)
    lives_of(kinds, fleet.rows(np.arange(min(devices, 1000))))  # what is loaded lazily, is
    took = []
    for _ in range(RUNS):
        start = time.perf_counter()
        lives_of(kinds, fleet).chances(need)
        took.append(time.perf_counter() - start)
    print(statistics.median(took), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def one_by_one(devices: int) -> tuple[float, float, float]:
    """Return seconds each and median ms of single calls, and how far at most their answers are from those of all at once."""
    from maintenance.calc.cell_forecast import LOADS, chance_of_dying, life, lives_of
    from maintenance.calc.cell_words import Draw, Seen

    kinds, fleet = invented(devices)
    picked = np.random.default_rng(5).choice(devices, min(ALONE, devices), replace=False)
    some = fleet.rows(picked)
    together = lives_of(kinds, some)
    chances = together.chances(np.full(len(some), NEED_H))
    took, apart = [], 0.0
    for k in range(len(some)):
        seen = ()
        if not np.isnan(some.seen_volts[k]):
            volts, hours, own = float(some.seen_volts[k]), float(some.seen_hours[k]), bool(some.seen_own_load[k])
            seen = (Seen(volts=volts, hours=hours, own_load=own),)
        start = time.perf_counter()
        draw = Draw(
            load=LOADS[some.load[k]],
            mean_ln=float(some.mean_ln[k]),
            var_ln=float(some.var_ln[k]),
            stops_below_v=float(some.stops_below_v[k]),
            in_series=int(some.in_series[k]),
        )
        one = life(
            kinds[some.kind[k]],
            draw,
            hours=float(some.hours[k]),
            seen=seen,
            age_years=float(some.age_years[k]),
            celsius=float(some.celsius[k]),
            same_batch=bool(some.same_batch[k]),
            was_new=bool(some.was_new[k]),
        )
        chance = chance_of_dying(one, NEED_H)
        took.append(time.perf_counter() - start)
        pairs = (
            (one.mean_ln_h, together.mean_ln_h[k]),
            (one.var_ln_h, together.var_ln_h[k]),
            (one.low_h, together.low_h[k]),
            (one.median_h, together.median_h[k]),
            (one.high_h, together.high_h[k]),
            (chance, chances[k]),
        )
        apart = max(apart, *(abs(a - b) / (1 + abs(a)) for a, b in pairs))
    return sum(took) / len(took), 1000 * statistics.median(took), apart


def record() -> None:
    """Print what a scan costs one device, and what a show's list costs with few devices and with many."""
    import django

    django.setup()
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from company.clock import now
    from inventory.calc.kinds import Kind
    from inventory.models import Item
    from maintenance.calc.cell_words import SwapReason
    from maintenance.cell_needs import listed
    from maintenance.models import CellPlan
    from maintenance.services.cell_reckon import item_cells_reckon
    from maintenance.services.cells import reading_record
    from tests.builders import fit_cells, make_box, make_item, make_lot, make_pull_row, make_show, make_type, use_on_cells

    at = now()
    show = make_show(at + timedelta(hours=3), name="Harvest ceilidh")
    lots = {"6LR61": make_lot(9000), "LR6": make_lot(9000, type="LR6"), "FR6": make_lot(100, type="FR6")}
    box, sender = make_box().type, make_type(Kind.TRANSMITTER, bays=2, cell_size="LR6")
    of = {"draw": 620, "sigma": 0.15, "stops_below_v": 1.9, "cells_a_bay": 2}
    CellPlan.objects.create(type=sender, load="power", transmitter=True, **of)
    made: list[Item] = []

    def add(count: int) -> None:
        for n in range(count):
            item = make_item(type=box if n % 2 else sender)
            made.append(item)
            make_pull_row(show, item=item, line=str(len(made)), feed="cells")
            for before in reversed(range(SETS_BEFORE if len(made) <= FEW else 1)):
                day = at - timedelta(days=8 * (1 + before))
                # one in three that came out had died, one was read, one only swapped
                why = (
                    {"reason": SwapReason.DIED}
                    if before % 3 == 0
                    else {"out_volts": 7.9 if n % 2 else 2.4}
                    if before % 3 == 1
                    else {}
                )
                fit_cells(item, at=day, received_at=day, lot=lots[item.type.cell_size], **why)
                use_on_cells(item, 2 + n % 40, day=(day + timedelta(days=2)).date())

    def timed(act: Callable[[], object]) -> tuple[float, int]:
        act()
        with CaptureQueriesContext(connection) as seen:
            act()
        took = []
        for _ in range(TIMED):
            start = time.perf_counter()
            act()
            took.append(time.perf_counter() - start)
        return 1000 * statistics.median(took), len(seen)

    add(FEW)
    one = Item.objects.select_related("type").get(pk=made[1].pk)
    ms, queries = timed(lambda: item_cells_reckon(item=one, at=at))
    print(f"cells of one device after a scan, {SETS_BEFORE} sets, median ms\t{ms:.1f}\t{SCANNED_MS:g}")
    reading = timed(
        lambda: reading_record(
            uid=uuid.uuid4(), item=one, volts=8.3, minutes_off=0, read_at=at, received_at=at, person=None, anyway=True
        )
    )[0]
    print(f"cells of one device, a reading written and reckoned, median ms\t{reading:.1f}\t-")
    print(f"cells of one device after a scan, queries\t{queries}\t-")
    few_ms, few = timed(lambda: listed(show.pk, at))
    add(MANY - FEW)
    many_ms, many = timed(lambda: listed(show.pk, at))
    print(f"swap list of {FEW} devices, median ms\t{few_ms:.0f}\t-")
    print(f"swap list of {MANY} devices, median ms\t{many_ms:.0f}\t-")
    print(f"swap list of {MANY} devices, queries\t{many}\tas many as of {FEW}: {few}")
    if many != few:
        raise SystemExit("The swap list asks more of the database the more devices there are.")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--record"]:
        record()
    elif sys.argv[1:2] == ["--child"]:
        at_once(int(sys.argv[2]))
    else:
        raise SystemExit(main())
