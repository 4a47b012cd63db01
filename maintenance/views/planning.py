"""I have so many minutes: what do I test? The list, the same on paper, and the start of a sitting with it."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now, today
from inventory.calc.kinds import KIND_NAMES, KINDS_WITHOUT_STANDING, Kind
from inventory.models import Place
from maintenance.bench_queue import LEAST_MINUTES, MOST_MINUTES, SESSION, SOON, Asked, Queue, Row, queue_of
from maintenance.calc.retest_due import per_cent
from maintenance.forms_sitting import first_guess, own_instruments
from maintenance.models import BenchSettings, Sitting

MINUTES = 90


@require_safe
@technician_required
def bench(request: HttpRequest) -> HttpResponse:
    """Show what to test in the minutes asked for."""
    at = now()
    day = today(at)
    asked, wrong = _asked(request.GET)
    queue = queue_of(asked=asked, day=day, at=at)
    settings = BenchSettings.current()
    mine = Sitting.objects.filter(person=signed_in(request), ended_at=None).order_by("-began_at").first()
    context: dict[str, Any] = {
        "section": "Bench",
        "room": "queue",
        "asked": asked,
        "wrong": wrong,
        "queue": queue,
        "places": Place.objects.filter(sort="shelf").order_by("rank", "name"),
        "kinds": [(k.value, KIND_NAMES[k]) for k in Kind if k not in KINDS_WITHOUT_STANDING],
        "shows": queue.shows,
        "lede": _lede(queue, asked),
        "because": _because(queue, asked),
        "query": _query(asked),
        "mine": mine,
        "unsaid": settings.asked_at is None,
    }
    return render(request, "maintenance/plan/bench.html", context, status=422 if wrong else 200)


@require_safe
@technician_required
def bench_paper(request: HttpRequest) -> HttpResponse:
    """Print the same list in the order a person walks the shelves."""
    asked, _wrong = _asked(request.GET)
    at = now()
    queue = queue_of(asked=asked, day=today(at), at=at)
    stops: dict[str, list[Row]] = {}
    for row in sorted(queue.rows, key=_walk):
        stops.setdefault(row.shelf, []).append(row)
    context = {
        "section": "Bench",
        "asked": asked,
        "queue": queue,
        "stops": stops,
        "at": at,
        "query": _query(asked),
        "lede": _lede(queue, asked),
    }
    return render(request, "maintenance/plan/bench_paper.html", context)


def _walk(row: Row) -> tuple[int, str, int]:
    """Return where on the walk a thing lies: by the rank of its place, or its case's; what has none comes last."""
    home = row.item.in_case.home if row.item.in_case else row.item.home
    return (home.rank if home else 100_000, row.shelf, row.pick.candidate.type)


@require_POST
@technician_required
def bench_start(request: HttpRequest) -> HttpResponse:
    """Take the list along to a sitting: it is kept for this person, and its first thing is asked for first.

    Without one that is open, one begins as the last was: its instrument, depth, null and warmth; the bench says so and has a
    link to change them.
    """
    asked, wrong = _asked(request.POST)
    if wrong:
        messages.error(request, wrong)
        return redirect("bench")
    at = now()
    codes = queue_of(asked=asked, day=today(at), at=at).codes
    if not codes:
        messages.warning(request, "Nothing on the list any more. Scan whatever you like to test.")
    request.session[SESSION] = codes
    mine = Sitting.objects.filter(person=signed_in(request), ended_at=None).order_by("-began_at").first()
    if mine is not None:
        return redirect(mine)
    last = Sitting.objects.filter(person=signed_in(request)).order_by("-began_at", "-pk").first()
    if last is None:
        return redirect(f"{reverse('sittings')}?{urlencode({'minutes': asked.minutes})}")
    with_it = first_guess(last) | {"minutes": asked.minutes}
    meter = own_instruments().filter(pk=with_it.pop("instrument")).first()
    made = Sitting.objects.create(person=signed_in(request), began_at=at, instrument=meter, **with_it)
    return redirect(made)


def _asked(given: QueryDict) -> tuple[Asked, str]:
    """Return what is asked for, and what is wrong with it in words; what makes no sense is as if not asked."""
    wrong, minutes = "", MINUTES
    typed = given.get("minutes", "").strip()
    if typed:
        if typed.isascii() and typed.isdigit() and LEAST_MINUTES <= int(typed[:6]) <= MOST_MINUTES:
            minutes = int(typed)
        else:
            wrong = f"Write whole minutes, from {LEAST_MINUTES} to {MOST_MINUTES}. This is for {MINUTES}."
    kind = given.get("kind", "")
    return (
        Asked(
            minutes=minutes,
            place=_key(given.get("place", "")),
            kind=kind if kind in set(Kind) else "",
            show=_key(given.get("show", "")),
        ),
        wrong,
    )


def _key(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and 0 < len(text) < 16 else None


def _query(asked: Asked) -> str:
    given = {"minutes": asked.minutes, "place": asked.place, "kind": asked.kind, "show": asked.show}
    return urlencode({name: value for name, value in given.items() if value})


def _lede(queue: Queue, asked: Asked) -> str:
    count = len(queue.rows)
    if not count:
        return ""
    things = "One thing" if count == 1 else f"{count} things"
    minutes = f"{queue.plan.minutes:.0f} of the {asked.minutes} minutes"
    bad = queue.plan.expected_bad
    turn = "hardly any should turn out bad" if bad < 0.5 else f"about {bad:.0f} should turn out bad"
    return f"{things} in {minutes}; {turn}."


def _because(queue: Queue, asked: Asked) -> str:
    """Say why there is nothing to test: what was looked for and not found."""
    if queue.rows:
        return ""
    if queue.plan.left_count:
        return f"what waits for a test takes longer than {asked.minutes} minutes, fetching it included."
    said = [
        "nothing here is suspect or got wet",
        f"no test falls due within {SOON.days} days",
        "no coming show lacks fit ones",
    ]
    if asked.is_narrowed:
        said = ["nothing that fits what you asked for is suspect, was called in or is due"]
    if queue.quiet:
        said.append(f"the likeliest to be bad is so with a chance of {per_cent(queue.quiet)}")
    return f"{', '.join(said[:-1])} and {said[-1]}." if len(said) > 1 else f"{said[0]}."
