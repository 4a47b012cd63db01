"""Who gets what over 50 overlapping shows, and the shelf's water over a year."""

import os
import tempfile
import time
from datetime import timedelta

SHOWS, LINES, TYPES = 50, 500, 300


def main() -> None:
    os.environ["VAR_DIR"] = tempfile.mkdtemp(prefix="knowngood-promises-")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    from inventory.calc.kinds import Kind
    from shows.models import InputLine, SourceType
    from shows.planning.tides import tides_of
    from shows.services.promises import promises_make
    from tests.builders import NOW, make_company, make_item, make_pull_row, make_show, make_type

    call_command("migrate", verbosity=0)
    make_company()
    kinds = [make_type(Kind.MICROPHONE, name=f"Microphone {n}", key=f"mic{n}") for n in range(8)]
    sources = [
        SourceType.objects.create(key=f"voice{n}", name=f"Voice {n}", family="voice", way="acoustic", usual=[kind.key])
        for n, kind in enumerate(kinds)
    ]
    for kind in kinds:
        for n in range(30):
            make_item(type=kind, name=f"{n}", tested_on=NOW.date(), test_by=NOW.date() + timedelta(days=n))
    shows = [make_show(name=f"Show {n}", load_in=NOW + timedelta(days=n // 5, hours=n % 5)) for n in range(SHOWS)]
    for n in range(LINES):
        show = shows[n % SHOWS]
        number = n // SHOWS + 1
        InputLine.objects.create(show=show, number=number, source=f"Voice {number}", type=sources[n % len(sources)])
    told: list[tuple[int, int]] = []
    for what in ("first time", "again"):
        began = time.perf_counter()
        _asked, found = promises_make(shows=shows, at=NOW, progress=lambda done, total: told.append((done, total)))
        took = time.perf_counter() - began
        without = len(found.without)
        words = f"limit 5 s; {without} without, progress told {len(told)} times"
        print(f"{LINES} lines of {SHOWS} overlapping shows, {what}: {took:.2f} s ({words})")
    for n in range(TYPES):
        kind = make_type(Kind.LOUDSPEAKER, name=f"Loudspeaker {n}")
        make_item(type=kind)
        make_pull_row(shows[n % SHOWS], type=kind)
    with CaptureQueriesContext(connection) as asked:
        began = time.perf_counter()
        tides = tides_of(first=NOW.date(), days=365)
        took = time.perf_counter() - began
    print(f"water of {len(tides)} types over a year: {1000 * took:.0f} ms, {len(asked)} queries")


if __name__ == "__main__":
    main()
