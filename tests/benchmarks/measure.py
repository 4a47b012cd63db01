"""Measure pages and scans in a shop of one size; prints one JSON object. Run by run.py in a process of its own.

Times are server time: the whole of Django's answer through the test client, no network. Queries are counted once.
"""

import json
import os
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Callable
from datetime import timedelta

RUNS = 15


def main(items: int, shows: int) -> None:
    os.environ["VAR_DIR"] = tempfile.mkdtemp(prefix="knowngood-bench-")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from company.models import Person
    from inventory.models import Item
    from inventory.search_index import refresh_statistics
    from maintenance.services.cells import reading_record
    from shows.models import Show
    from tests.benchmarks.shop import an_instant, fill, powered_items

    call_command("migrate", verbosity=0)
    at = an_instant()
    fill(items, shows, at)
    refresh_statistics(connection)
    client = Client(headers={"host": "127.0.0.1"})
    client.force_login(Person.objects.get(username="owner"), backend="django.contrib.auth.backends.ModelBackend")
    item = Item.objects.order_by("pk")[items // 2]
    coming = Show.objects.coming_at(at).order_by("load_in")[0]
    past = Show.objects.past_at(at).order_by("-load_in")[0]

    def page(address: str) -> Callable[[], None]:
        def get() -> None:
            response = client.get(address)
            if response.status_code not in {200, 302}:
                raise SystemExit(f"{address} answered {response.status_code}")

        return get

    def send(count: int) -> Callable[[], None]:
        chosen = list(
            Item.objects.filter(suspect_since=None, missing_since=None)
            .order_by("pk")
            .values_list("code", flat=True)[: count * (RUNS + 3)]
        )
        turn = iter(range(RUNS + 3))

        def post() -> None:
            first = next(turn) * count
            body = {
                "device": "bench",
                "scans": [
                    {
                        "id": str(uuid.uuid4()),
                        "seq": first + n,
                        "code": code,
                        "action": "out",
                        "show": coming.pk,
                        "happened_at": (at + timedelta(seconds=first)).isoformat(),
                    }
                    for n, code in enumerate(chosen[first : first + count] or chosen[:count])
                ],
            }
            response = client.post("/api/scans", json.dumps(body), content_type="application/json")
            results = response.json().get("results", [])
            if response.status_code != 200 or not all(r["outcome"] == "accepted" for r in results):
                raise SystemExit(f"/api/scans answered {response.status_code} {results[:1]}")

        return post

    powered = powered_items(coming, at)

    def read() -> None:
        reading_record(
            uid=uuid.uuid4(),
            item=powered,
            volts=9.1,
            minutes_off=0,
            read_at=at,
            received_at=at + timedelta(seconds=1),
            person=None,
        )

    asked = {
        "today": page("/"),
        "gear list": page("/gear/"),
        "gear list, suspect": page("/gear/?standing=suspect"),
        "gear list, by place": page("/gear/?place=3"),
        "item": page(f"/a/{item.code}"),
        "find a code": page(f"/find/?q={item.code}"),
        "find a word": page("/find/?q=quarry+77"),
        "find a serial": page(f"/find/?q={item.serial}"),
        "shows": page("/shows/"),
        "show to come": page(f"/shows/{coming.pk}/"),
        "show past": page(f"/shows/{past.pk}/"),
        "missing": page("/missing/"),
        "dock": page(f"/dock/?show={coming.pk}&way=out"),
        "counted lines": page("/shelf/"),
        "cases": page("/cases/"),
        "labels": page("/labels/"),
        "bench queue": page("/bench/?minutes=90"),
        "bench queue, one show": page(f"/bench/?minutes=90&show={coming.pk}"),
        "rules": page("/bench/rules/"),
        "one rule": page(f"/bench/rules/{item.type_id}/"),
        "forecasts": page("/bench/forecasts/"),
        "cells": page("/cells/"),
        "swap list, 200 devices": page(f"/cells/swaps/{coming.pk}/"),
        "cells of a device": page(f"/a/{powered.code}/cells/"),
        "one reading": read,
        "API items": page("/api/items?limit=50"),
        "API items, search": page("/api/items?search=quarry&limit=50"),
        "API item": page(f"/api/items/{item.code}"),
        "one scan": send(1),
        "500 scans in a batch": send(min(500, items // 30)),
    }
    answer = {}
    for name, ask in asked.items():
        ask()
        with CaptureQueriesContext(connection) as caught:
            ask()
        queries = len(caught)  # before the next request empties the log
        times = []
        runs = RUNS if "batch" not in name else 5
        for _ in range(runs):
            began = time.perf_counter()
            ask()
            times.append((time.perf_counter() - began) * 1000)
        answer[name] = {"ms": statistics.median(times), "queries": queries}
    print(json.dumps(answer))


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
