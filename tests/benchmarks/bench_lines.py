"""A show's input list of 48 lines: an edit answered, the whole saved, the page drawn. One row a figure, its limit beside.

Times are server time through the test client, medians; each save changes every line, so that nothing is saved for nothing.
"""

import os
import statistics
import tempfile
import time
from collections.abc import Callable

EDIT_MS, SAVE_MS, PAGE_MS, READ_MS = 200.0, 200.0, 200.0, 50.0
LINES, RUNS = 48, 25
SOURCES = ("Kick", "Snare", "Hat", "Floor tom", "Bass", "Guitar", "Acoustic", "Lead vox", "Fiddle", "Trumpet", "Sax", "Laptop")


def main() -> None:
    os.environ["VAR_DIR"] = tempfile.mkdtemp(prefix="knowngood-lines-")
    os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
    import django

    django.setup()
    from django.core.management import call_command
    from django.test import Client

    from company.clock import now
    from company.models import Company, Person
    from shows.models import InputLine
    from shows.planning.input_list import judged_of, known_of
    from tests.builders import make_show

    call_command("migrate", verbosity=0)
    call_command("load_catalogue", verbosity=0)
    company = Company.current()
    company.set_up_at = now()
    company.save()
    client = Client(headers={"host": "127.0.0.1"})
    person = Person.objects.create_user(username="technician", role="technician")
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    show = make_show()
    path = f"/shows/{show.pk}/lines/"

    def sheet(turn: int) -> str:
        rows = [
            f"{n}\t{SOURCES[(n + turn) % len(SOURCES)]} {n}\tPlayer {turn}\tPlace {n % 9}\tBox {n % 3}\t{n}\tturn {turn}"
            for n in range(1, LINES + 1)
        ]
        return "\n".join(["No\tSource\tPlayer\tWhere\tStage box\tBox input\tNotes", *rows])

    def post(address: str, wanted: int, turn: int) -> None:
        answer = client.post(address, {"grid": sheet(turn)})
        if answer.status_code != wanted:
            raise SystemExit(f"{address} answered {answer.status_code}")

    post(path, 302, 0)
    known = known_of(show)
    figures = {
        f"input list of {LINES} lines read and judged, ms": (lambda turn: judged_of(sheet(turn), known), READ_MS),
        f"an edit in a grid of {LINES} lines answered, ms": (lambda turn: post(f"{path}paste/", 200, turn), EDIT_MS),
        f"all of {LINES} lines changed and saved, ms": (lambda turn: post(path, 302, turn), SAVE_MS),
        f"page of {LINES} lines with what is advised, ms": (lambda _turn: client.get(path), PAGE_MS),
    }
    for name, (do, limit) in figures.items():
        print(f"{name}\t{_median(do):.1f}\t{limit:.0f}")
    if InputLine.objects.filter(show=show).count() != LINES:
        raise SystemExit("the lines are not there")


def _median(do: Callable[[int], object]) -> float:
    times = []
    for turn in range(1, RUNS + 1):
        began = time.perf_counter()
        do(turn)
        times.append((time.perf_counter() - began) * 1000)
    return statistics.median(times[2:])


if __name__ == "__main__":
    main()
