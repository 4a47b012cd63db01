"""`make bench`: every figure the project claims, measured in one run on one machine, medians, with the machine named.

Nothing here fails a build: a slow machine is no fault. Read the table; the last column says what is asked for. With names only
those are measured: `make bench ARGS="pages backup"`.
"""

import json
import os
import platform
import sqlite3
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGES = "pages"
SMALL, LARGE = (1_000, 20), (100_000, 2_000)


ASKED = {
    "one scan": "under 10 ms",
    "500 scans in a batch": "under 300 ms (at 1,000 items: 33)",
    "one reading": "under 20 ms, same queries",
}


def main(names: list[str]) -> None:
    scripts = {path.stem.removeprefix("bench_"): path for path in sorted(Path(__file__).parent.glob("bench_*.py"))}
    if unknown := [name for name in names if name not in {PAGES, *scripts}]:
        raise SystemExit(f"There is no bench {', '.join(unknown)}. There are {PAGES}, {', '.join(scripts)}.")
    print(_machine())
    print()
    if not names or PAGES in names:
        _pages()
    for name, script in scripts.items():
        if not names or name in names:
            sys.stdout.flush()
            subprocess.run([sys.executable, str(script)], cwd=ROOT, env=_environment(), check=True)


def _pages() -> None:
    small, large = _measure(*SMALL), _measure(*LARGE)
    print(f"{'page or call':28}{'1,000 items':>14}{'100,000 items':>15}{'ratio':>8}{'queries':>12}   asked for")
    for name in large:
        a, b = small[name], large[name]
        fits = b["ms"] <= a["ms"] * 1.5 or b["ms"] <= a["ms"] + 10
        asked = ASKED.get(name, "1.5 x or +10 ms, same queries")
        if name == "one scan":
            fits = b["ms"] < 10
        if name == "one reading":
            fits = b["ms"] < 20
        if "batch" in name:
            fits = b["ms"] < 300
        same = a["queries"] == b["queries"]
        mark = "yes" if fits and (same or "scan" in name) else "NO"
        times = f"{a['ms']:>11.1f} ms{b['ms']:>12.1f} ms{b['ms'] / a['ms']:>8.2f}"
        print(f"{name:28}{times}{a['queries']:>6} {b['queries']:>5}   {mark}: {asked}")
    print()


def _measure(items: int, shows: int) -> dict[str, dict[str, float]]:
    command = [sys.executable, "-m", "tests.benchmarks.measure", str(items), str(shows)]
    done = subprocess.run(command, cwd=ROOT, env=_environment(), check=True, capture_output=True, text=True)
    return json.loads(done.stdout.splitlines()[-1])


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "DATABASE_URL": "", "CELERY_BROKER_URL": ""}


def _machine() -> str:
    model = platform.processor() or platform.machine()
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
        model = next(line.split(":", 1)[1].strip() for line in lines if line.startswith("model name"))
    except (OSError, StopIteration):
        pass
    return (
        f"{model}, {os.cpu_count()} cores; {platform.system()} {platform.release()}; Python {platform.python_version()}; "
        f"SQLite {sqlite3.sqlite_version}"
    )


if __name__ == "__main__":
    main(sys.argv[1:])
