"""Take in scans that a phone could not send: its file, or the codes on its screen."""

import uuid
from contextlib import suppress
from datetime import timedelta
from typing import Any, cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from company.clock import now, today
from company.models import Person
from shows.calc.carry import MOST_BYTES, Carried, CarryError, carried_of, heap_of
from shows.dock import known_items
from shows.models import Scan
from shows.services.scans import ScanAnswer, scans_record

BATCH = 500
MOST_FILES = 20
SHOWN = 200


@require_http_methods(["GET", "POST"])
def take_in(request: HttpRequest) -> HttpResponse:
    """Read files and codes, record what is in them, and say what came of each scan. The same ones twice change nothing."""
    context: dict[str, Any] = {"section": "Dock", "typed": ""}
    if request.method == "GET":
        return render(request, "shows/take_in.html", context)
    typed = request.POST.get("codes", "").replace("\x00", "")[: 2 * MOST_BYTES]
    wrong, carried = [], list[Carried]()
    for file in request.FILES.getlist("files")[:MOST_FILES]:
        try:
            carried.append(carried_of(file.read(MOST_BYTES + 1)))
        except CarryError as error:
            wrong.append(f"{file.name}: {error}")
    try:
        heap = heap_of(typed.splitlines())
    except CarryError as error:
        wrong.append(str(error))
    else:
        carried += heap.whole
        wrong += [f"Of one phone code {_list(numbers)} is still missing: scan it too." for numbers in heap.missing.values()]
        wrong += [f"That is no code of scans: {text}" for text in heap.strange[:5]]
        context["typed"] = typed if heap.missing else ""
    if not carried and not wrong:
        wrong.append("Choose a file, or scan the codes on the phone's screen into the field.")
    before = _known_of(carried)
    answers = [pair for one in carried for pair in _recorded(request, one, wrong)]
    look = [(text, answer) for text, answer in answers if answer.signal != "fine"][:SHOWN]
    names = known_items((answer.code for _, answer in look), today(now()))
    context |= {
        "wrong": wrong,
        "many": len(answers),
        "before": before,
        "look": [
            {"answer": answer, "name": names[answer.code].name if answer.code in names else "", "text": text}
            for text, answer in look
        ],
    }
    return render(request, "shows/take_in.html", context, status=422 if wrong and not answers else 200)


def _known_of(carried: list[Carried]) -> int:
    """Return how many of these scans the shop knew already: the phone sent them, or they were taken in before."""
    found = set()
    for scan in (scan for one in carried for scan in one.scans if isinstance(scan, dict)):
        with suppress(ValueError):
            found.add(uuid.UUID(str(scan.get("id"))))
    ids = list(found)
    # a query takes so many values and no more
    return sum(Scan.objects.filter(uid__in=ids[start : start + BATCH]).count() for start in range(0, len(ids), BATCH))


def _recorded(request: HttpRequest, carried: Carried, wrong: list[str]) -> list[tuple[str, ScanAnswer]]:
    """Record what one phone carried; what was read stands beside each answer."""
    received = now()
    good = [scan for scan in carried.scans if isinstance(scan, dict)]
    answers: list[ScanAnswer] = []
    for start in range(0, len(good), BATCH):
        try:
            answers += scans_record(
                actor=cast(Person, request.user),
                device=carried.device,
                # its clock is put right by what it knew of ours, not by how long it was carried
                sent_at=received - timedelta(milliseconds=carried.offset_ms),
                scans=good[start : start + BATCH],
                received_at=received,
            )
        except ValueError as error:
            wrong.append(f"{error} Those scans were not taken in: send them from the phone itself.")
    if len(good) < len(carried.scans):
        wrong.append(f"{len(carried.scans) - len(good)} entries are no scans and were left out.")
    return [(str(scan.get("code", ""))[:40], answer) for scan, answer in zip(good, answers, strict=False)]


def _list(numbers: list[int]) -> str:
    shown = ", ".join(str(number) for number in numbers[:10])
    return f"{shown} and {len(numbers) - 10} more" if len(numbers) > 10 else shown
