"""Bring in 20,000 rows while another connection writes small immediate transactions, as a scan does.

Prints one row a figure: name, figure, limit. Run it as `python -m tests.benchmarks.bench_import [rows] [items there before]`.
"""

import os
import resource
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

SECONDS, MEGABYTES, WAIT_MS = 20.0, 300.0, 300.0


def main() -> int:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    before = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "VAR_DIR": folder, "DJANGO_SETTINGS_MODULE": "config.settings", "DATABASE_URL": ""}
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], env=environment, check=True)
        for name, with_codes in (("without codes", False), ("with codes", True)):
            scans = _Scans(Path(folder) / "knowngood.sqlite3")
            child = [
                sys.executable,
                "-m",
                "tests.benchmarks.bench_import",
                "--child",
                str(rows),
                str(before),
                str(int(with_codes)),
            ]
            process = subprocess.Popen(child, env=environment, stdout=subprocess.PIPE, text=True)
            ready = process.stdout.readline()  # type: ignore[union-attr]
            scans.start()
            answer = process.stdout.read()  # type: ignore[union-attr]
            scans.over.set()
            scans.join()
            if process.wait() or "ready" not in ready:
                return 1
            seconds, megabytes, look = answer.split()
            print(f"import {rows} rows {name}, seconds\t{seconds}\t{SECONDS}")
            print(f"import {rows} rows {name}, most memory MB\t{megabytes}\t{MEGABYTES}")
            print(f"import {rows} rows {name}, longest wait of {scans.count} scans ms\t{scans.longest * 1000:.0f}\t{WAIT_MS}")
            print(f"import {rows} rows {name}, preview seconds\t{look}\t-")
            before = 0
    return 0


class _Scans(threading.Thread):
    """A scan's write, over and over, on a connection of its own; keeps the longest one took from asking to commit."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path, self.over = path, threading.Event()
        self.longest, self.count = 0.0, 0

    def run(self) -> None:
        connection = sqlite3.connect(self.path, timeout=20, isolation_level=None)
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("CREATE TABLE IF NOT EXISTS bench_scan (at REAL)")
        while not self.over.wait(0.02):
            asked = time.perf_counter()
            connection.execute("BEGIN IMMEDIATE")
            connection.execute("INSERT INTO bench_scan VALUES (?)", (asked,))
            connection.execute("COMMIT")
            self.longest = max(self.longest, time.perf_counter() - asked)
            self.count += 1
        connection.close()


def child(rows: int, before: int, with_codes: bool) -> None:
    import django

    django.setup()
    from company.clock import now
    from company.jobs import job_run
    from company.models import Job, Person
    from inventory.calc import codes
    from inventory.models import Item
    from inventory.transfer.matching import matching_guess
    from inventory.transfer.reading import list_open
    from inventory.transfer.running import import_start, preview_make
    from inventory.transfer.uploads import upload_keep

    person, _made = Person.objects.get_or_create(username="bench", defaults={"role": "owner"})

    def bring(count: int, coded: bool, told: bool) -> tuple[float, float]:
        kinds = ["Microphone lead", "Active direct box", "Vocal microphone", "Stage box", "Monitor loudspeaker"]
        lines = ["Code,Gear type,Name,Length,Serial,Maker,Bought on,Price,Kept at,Notes"]
        for n in range(count):
            code = codes.mint() if coded else ""
            lines.append(
                f"{code},{kinds[n % 5]},{n},{n % 30} m,S{n}-{coded}-{told},maker {n % 40},2024-03-{n % 28 + 1:02d},"
                f"{n % 900}.50,Shelf {n % 12},bought with the rest, number {n}".replace("rest, ", "rest ")
            )
        with tempfile.TemporaryFile() as file:
            file.write("\n".join(lines).encode())
            file.seek(0)
            upload = upload_keep(file=file, name="bench.csv", what="gear", person=person, at=now())
        with upload.path.open("rb") as kept:
            upload.headers = list_open(kept).headers
        from inventory.transfer.running import transfer_of

        transfer = transfer_of("gear")
        assert transfer is not None
        upload.matching = matching_guess(transfer, upload.headers, person)
        upload.keep()
        if told:
            print("ready", flush=True)
        began = time.perf_counter()
        preview = preview_make(upload, person=person, at=now())
        look = time.perf_counter() - began
        assert preview.counts["new"] == count, (preview.counts, preview.bad[:1], preview.stop)
        there = Item.objects.count()
        began = time.perf_counter()
        job = import_start(upload, person=person, at=now())
        if Job.objects.filter(pk=job.pk, state=Job.State.QUEUED).exists():
            job_run(job.pk)
        took = time.perf_counter() - began
        job.refresh_from_db()
        assert job.state == Job.State.DONE, job.said
        assert Item.objects.count() == there + count
        return took, look

    if before:
        bring(before, False, False)
    took, look = bring(rows, with_codes, True)
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{took:.1f} {most:.0f} {look:.1f}")


if __name__ == "__main__":
    if "--child" in sys.argv:
        child(int(sys.argv[2]), int(sys.argv[3]), sys.argv[4] == "1")
    else:
        sys.exit(main())
