"""Measure a run of the rules in which one rule finds 100,000 things that people have long seen to.

Prints one row a figure: name, figure, limit. Run it as `python -m tests.benchmarks.bench_seen_to [causes]`. The first raises
them all, in transactions of under 200 ms; the second finds all of them seen to, as every run after it does.
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import datetime, timedelta

QUIET_S, MEGABYTES, WAIT_MS, QUERIES = 10.0, 500.0, 200.0, 20


def main() -> int:
    causes = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "VAR_DIR": folder, "DJANGO_SETTINGS_MODULE": "config.settings"}
        environment.setdefault("DATABASE_URL", "")
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], env=environment, check=True)

        def child(what: str) -> list[str]:
            command = [sys.executable, "-m", "tests.benchmarks.bench_seen_to", "--child", what, str(causes)]
            return subprocess.run(command, env=environment, stdout=subprocess.PIPE, text=True, check=True).stdout.split()

        said = f"alerts, {causes} causes"
        for what, name in (("raise", "all new"), ("seen-to", "all seen to"), ("again", "closed once, all open again")):
            seconds, megabytes, longest, queries = child(what)
            print(f"{said}, {name}, seconds\t{seconds}\t{QUIET_S if what == 'seen-to' else '-'}")
            print(f"{said}, {name}, most memory MB\t{megabytes}\t{MEGABYTES:g}")
            print(f"{said}, {name}, longest transaction ms\t{longest}\t{WAIT_MS:g}")
            print(f"{said}, {name}, queries\t{queries}\t{QUERIES if what == 'seen-to' else '-'}")
    return 0


def run(what: str, many: int) -> None:
    """Run one rule that finds so many causes; what was raised before is set aside as the name says."""
    import resource

    from django.db import connection

    from company.clock import now
    from company.registries import ALERT_RULES, AlertRule, Cause, RuleTerms
    from maintenance.calc.alert_words import Closed
    from maintenance.models import Alert
    from maintenance.services.alerts import alerts_run
    from tests.benchmarks.bench_alerts import transactions_timed

    def find(at: datetime, terms: RuleTerms) -> Iterator[Cause]:
        for number in range(many):
            subject = f"item:{number}"
            yield Cause(subject=subject, occasion=subject, title=f"Thing {number}", says="Look at it.", url="/gear/")

    rule = AlertRule(key="bench", name="Bench", why="A rule of a benchmark.", find=find)
    ALERT_RULES._entries = {"bench": (100, lambda: rule)}
    at = now()
    how = {"seen-to": Closed.HAND, "again": Closed.GONE}.get(what)
    if how:
        Alert.objects.update(closed_at=at - timedelta(days=1), closed_how=how)
    asked = 0

    def count(execute, sql, params, batch, context):  # type: ignore[no-untyped-def]
        nonlocal asked
        asked += 1
        return execute(sql, params, batch, context)

    with transactions_timed() as spans, connection.execute_wrapper(count):
        began = time.perf_counter()
        ran = alerts_run(at=at)
        took = time.perf_counter() - began
    if ran.threw or ran.found != many or Alert.objects.filter(closed_at=None).exists() != (what != "seen-to"):
        raise SystemExit(f"that is not what was to be measured: {ran}")
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{took:.1f} {most:.0f} {max(spans, default=0) * 1000:.0f} {asked}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        import django

        django.setup()
        run(sys.argv[2], int(sys.argv[3]))
    else:
        raise SystemExit(main())
