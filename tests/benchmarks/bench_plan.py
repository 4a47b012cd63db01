"""What a show's planning costs on the server: 48 lines worked out anew with nothing remembered, and again; and their pages."""

import os
import statistics
import tempfile
import time
from collections.abc import Callable

LINES, RUNS = 48, 9


def main() -> None:
    os.environ["VAR_DIR"] = tempfile.mkdtemp(prefix="knowngood-plan-")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.core.management import call_command
    from django.test import Client

    from company.models import Person
    from shows.calc import weighing
    from shows.models import InputLine, Show, SourceType
    from shows.planning import house
    from shows.planning.advice import advice_of

    call_command("migrate", verbosity=0)
    call_command("load_demo", verbosity=0)
    show = Show.objects.filter(places__sort="mix").order_by("pk")[0]
    show.lines.all().delete()
    places = list(show.places.filter(sort="source"))
    box = show.places.filter(sort="stage box").first()
    # every kind of source in turn, at every place in turn
    kinds = list(SourceType.objects.exclude(family="output"))
    InputLine.objects.bulk_create(
        InputLine(
            show=show,
            number=n + 1,
            source=f"Line {n + 1}",
            type=kinds[n % len(kinds)],
            place=places[n % len(places)] if places else None,
            box=box if n < 16 else None,
            box_input=n + 1 if n < 16 else None,
        )
        for n in range(LINES)
    )
    client = Client(headers={"host": "127.0.0.1"})
    client.force_login(Person.objects.get(username="owner"), backend="django.contrib.auth.backends.ModelBackend")
    first = InputLine.objects.filter(show=show)[0]

    def forget() -> None:
        house.chosen.cache_clear()
        weighing.answered.cache_clear()

    def page(address: str) -> Callable[[], object]:
        def get() -> object:
            response = client.get(address)
            if response.status_code != 200:
                raise SystemExit(f"{address} answered {response.status_code}")
            return response

        return get

    def measured(name: str, ask: Callable[[], object], before: Callable[[], None], asked: str) -> None:
        ask()
        times, busy = [], []
        for _ in range(RUNS):
            before()
            began, worked = time.perf_counter(), time.process_time()
            ask()
            times.append((time.perf_counter() - began) * 1000)
            busy.append((time.process_time() - worked) * 1000)
        print(f"{name}\t{statistics.median(times):.0f} ({statistics.median(busy):.0f} of it computing)\t{asked}")

    measured(f"{LINES} lines worked out, nothing remembered, ms", lambda: advice_of(show), forget, "under 100")
    measured(f"{LINES} lines worked out again, ms", lambda: advice_of(show), lambda: None, "under 100")
    measured(f"page of what {LINES} lines need, ms", page(f"/shows/{show.pk}/advice/"), lambda: None, "")
    measured("page of one of them, ms", page(f"/shows/{show.pk}/advice/{first.pk}/"), lambda: None, "")


if __name__ == "__main__":
    main()
