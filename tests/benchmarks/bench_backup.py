"""A backup of a 1 GB shop while scans are recorded one after the other: how long it takes, and how long a scan waits.

Prints one row a figure: name, figure, asked for. Scans are made in a process of their own, one at a time without a pause, first
alone (what the machine does to them by itself), then while another process makes the backup. Run it as
`python tests/benchmarks/bench_backup.py [megabytes] [items]`.
"""

import os
import resource
import subprocess
import sys
import tempfile
import time
import uuid
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ASKED_MS = 200
ALONE_S = 10.0
CHANGES = 250_000
PIECE = 2_000_000  # bytes of one photo


def fill(megabytes: int, items: int) -> None:
    """Make the shop: its record by bulk inserts, and photos of noise up to the size asked for."""
    from django.conf import settings
    from django.core.management import call_command
    from django.db import connection, transaction

    from company.models import Company, Person
    from tests.benchmarks import bench_scans

    call_command("migrate", verbosity=0)
    Company.current()
    with transaction.atomic():
        bench_scans.fill(items, 8)
    Person.objects.create(username="bench", role="hand")
    with connection.cursor() as cursor:
        # a change log of some years makes most of a grown record
        cursor.execute(
            "INSERT INTO auditlog_logentry (content_type_id, object_pk, object_repr, action, timestamp, changes_text, changes) "
            "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < %s) "
            "SELECT (SELECT min(id) FROM django_content_type), i, 'item ' || i, 1, '2026-01-01 00:00:00', '', "
            "'{\"notes\": [\"' || hex(randomblob(150)) || '\", \"' || hex(randomblob(150)) || '\"]}' FROM n",
            [CHANGES],
        )
    connection.close()
    photos = Path(settings.MEDIA_ROOT) / "photos"
    photos.mkdir(parents=True)
    left, number = megabytes * 1_000_000 - _database().stat().st_size, 0
    while left > 0:
        (photos / f"{number}.jpg").write_bytes(os.urandom(min(PIECE, left)))
        left, number = left - PIECE, number + 1


def _database() -> Path:
    from django.db import connection

    return Path(str(connection.settings_dict["NAME"]))


def scan_on(log: Path, stop: Path) -> None:
    """Record scans one after the other until told to stop; write a line for each: when it began, how many ms it took."""
    from company.models import Person
    from inventory.models import Item
    from shows.models import Show
    from shows.services.scans import scans_record

    codes = list(Item.objects.order_by("pk").values_list("code", flat=True)[:5_000])
    person, show = Person.objects.get(username="bench"), Show.objects.order_by("-load_in")[0].pk
    at, number = datetime(2026, 10, 1, 9, 0, tzinfo=UTC), 0
    with log.open("w", buffering=1) as lines:
        while not stop.exists():
            at += timedelta(seconds=1)
            action = "out" if number // len(codes) % 2 == 0 else "back"
            scan = {"id": str(uuid.uuid4()), "code": codes[number % len(codes)], "action": action, "happened_at": at}
            began, wall = time.perf_counter(), time.time()
            [answer] = scans_record(
                actor=person,
                device="bench",
                sent_at=None,
                scans=[{**scan, "show": show}],
                received_at=at + timedelta(days=400),
            )
            took = (time.perf_counter() - began) * 1000
            if answer.outcome != "accepted":
                raise SystemExit(f"A scan was answered {answer}")
            lines.write(f"{wall} {took}\n")
            number += 1


def back_up() -> None:
    """Make the backup as the worker does; print when it began and ended, its bytes, this process's peak in MB."""
    from company.backups import backup_make
    from company.clock import now

    began, marks = time.time(), []
    made = backup_make(at=now(), progress=lambda done, total, said: marks.append((time.time(), said)))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    frozen = next(at for at, said in marks if said.startswith("0 of")) - began
    print(began, time.time(), made.stat().st_size, peak, frozen)


def part(*words: str) -> subprocess.Popen:
    return subprocess.Popen([sys.executable, __file__, "--part", *words], cwd=ROOT, stdout=subprocess.PIPE, text=True)


def main(megabytes: int, items: int) -> None:
    folder = Path(os.environ["VAR_DIR"])
    began = time.perf_counter()
    part("fill", str(megabytes), str(items)).wait()
    print(f"the shop: {items} items with 8 stays, made in s\t{time.perf_counter() - began:.0f}\t-")
    log, stop = folder / "scans", folder / "stop"
    scanning = part("scan", str(log), str(stop))
    while not log.exists() or log.stat().st_size == 0:
        if scanning.poll() is not None:
            raise SystemExit("No scan could be made.")
        time.sleep(0.1)
    time.sleep(ALONE_S)
    backing = part("backup")
    said, _ = backing.communicate()
    stop.touch()
    if scanning.wait() or backing.returncode:
        raise SystemExit("It broke off.")
    start, end, size, peak, frozen = map(float, said.split())
    scans = [tuple(map(float, line.split())) for line in log.read_text().splitlines()]
    alone = [ms for wall, ms in scans if wall < start - 1]
    during = sorted(ms for wall, ms in scans if start <= wall <= end)
    database, media = folder / "knowngood.sqlite3", sum(p.stat().st_size for p in (folder / "media").rglob("*") if p.is_file())
    print(f"database and media, MB\t{database.stat().st_size / 1e6:.0f} + {media / 1e6:.0f}\t1000 in all")
    print(f"backup, s (the record frozen and checked after {frozen:.1f})\t{end - start:.1f}\t-")
    print(f"its file, MB\t{size / 1e6:.0f}\t-")
    print(f"peak memory of the backup, MB\t{peak:.0f}\t-")
    print(f"longest scan of {len(alone)} before the backup, ms\t{max(alone):.0f}\t-")
    late = sum(ms > ASKED_MS for ms in during)
    middle, high = during[len(during) // 2], during[len(during) * 999 // 1000]
    spread = f"half under {middle:.0f}, 999 in 1000 under {high:.0f}; {late} over {ASKED_MS}"
    print(f"longest scan of {len(during)} during the backup, ms ({spread})\t{during[-1]:.0f}\tunder {ASKED_MS}", flush=True)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    if sys.argv[1:2] == ["--part"]:
        import django

        django.setup()
        what, *words = sys.argv[2:]
        if what == "fill":
            fill(int(words[0]), int(words[1]))
        elif what == "scan":
            scan_on(Path(words[0]), Path(words[1]))
        else:
            back_up()
    else:
        given = [int(word) for word in sys.argv[1:3]]
        with tempfile.TemporaryDirectory(prefix="knowngood-bench-") as made:
            os.environ["VAR_DIR"] = made
            main(given[0] if given else 1_000, given[1] if len(given) > 1 else 4_000)
