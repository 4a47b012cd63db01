"""How a sitting answers: parts of its page for a script, else the page at an address that can be loaded again."""

import uuid as uuids
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse

from company.clock import now
from inventory.models import Item
from maintenance.bench_drafts import draft_laid, drafts_of, read_of
from maintenance.bench_queue import SESSION, next_of
from maintenance.calc.bench import DEPTH_WORDS, Depth, Procedure
from maintenance.models import BenchTest, Sitting
from maintenance.sitting_page import Found, OnBench, count_of, found_by, on_bench, row_of, rows_of

LONGEST_TEST = 240.0  # minutes; a page left open over lunch is no test that long


def sitting_or_404(pk: int) -> Sitting:
    return get_object_or_404(Sitting.objects.select_related("person", "instrument__type"), pk=pk)


def uuid_of(text: Any) -> uuids.UUID | None:
    try:
        return uuids.UUID(str(text or ""))
    except ValueError:
        return None


def minutes_since(began: str, at: datetime) -> float | None:
    """Return the minutes since a thing was laid on the bench, or None where that cannot be."""
    try:
        minutes = (at - datetime.fromisoformat(began)).total_seconds() / 60
    except (ValueError, TypeError):
        return None
    return round(minutes, 2) if 0 <= minutes <= LONGEST_TEST else None


def wants_fragments(request: HttpRequest) -> bool:
    return request.headers.get("X-Fragments") == "sitting"


def go(
    request: HttpRequest,
    sitting: Sitting,
    *,
    run: bool = False,
    scan: str = "",
    flexed: bool = False,
    done: BenchTest | None = None,
    say: str = "",
    sound: str = "",
    quiet: bool = False,
) -> HttpResponse:
    """Answer a POST: parts of the page for a script, else the page itself at an address that can be loaded again."""
    asked: dict[str, str] = {"run": "yes"} if run else {}
    asked |= {"scan": scan[:200]} if scan else {}
    asked |= {"flexed": "yes"} if flexed else {}
    asked |= {"done": str(done.uid)} if done else {}
    url = f"{reverse('sitting', args=[sitting.pk])}{'?' if asked else ''}{urlencode(asked)}"
    if wants_fragments(request):
        context = asked_for(request, sitting, asked)
        if say and not quiet:
            context["say"] = say
        if not say:
            say = context["found"].says or (f"{context['shown'].item} is on the bench." if context["shown"] else "")
        return fragments(request, context, say=say, sound=sound, url=url)
    if say and not quiet:
        level = messages.WARNING if sound == "unknown" else messages.INFO
        messages.add_message(request, level, say)
    return redirect(url)


def page(request: HttpRequest, sitting: Sitting, asked: Any) -> HttpResponse:
    return render(request, "maintenance/bench/sitting.html", asked_for(request, sitting, asked))


def asked_for(request: HttpRequest, sitting: Sitting, asked: Any) -> dict[str, Any]:
    text, run = asked.get("scan", "")[:4200].replace("\0", " "), asked.get("run") == "yes"
    found = found_by(text, back=sitting.get_absolute_url()) if text.strip() else Found()
    shown = None
    if found.item is not None and not run and not sitting.ended_at:
        kept = drafts_of(request.session, sitting).get(found.item.code)
        flexed = asked.get("flexed") == "yes" or bool(kept and kept["flexed"])
        procedure = asked.get("as", "") or (kept["as"] if kept else "")
        shown = on_bench(found.item, sitting=sitting, at=now(), procedure=procedure, flexed=flexed)
        if kept and procedure in {"", kept["as"]}:
            draft_laid(shown.asked, kept)
            shown.read = read_of(shown.asked)
    done = None
    if (wanted := uuid_of(asked.get("done"))) is not None:
        tests = BenchTest.objects.filter(uid=wanted, sitting=sitting).exclude(procedure=Procedure.UNDO)
        done = tests.select_related("item__type", "corrected_by", "person").first()
    return context_of(request, sitting, shown=shown, found=found, done=done, run=run)


def context_of(
    request: HttpRequest,
    sitting: Sitting,
    *,
    shown: OnBench | None = None,
    found: Found | None = None,
    done: BenchTest | None = None,
    run: bool = False,
) -> dict[str, Any]:
    at = now()
    return {
        "section": "Bench",
        "sitting": sitting,
        "depth": DEPTH_WORDS[Depth(sitting.depth)],
        "shown": shown,
        "found": found or Found(),
        "done": row_of(done) if done else None,
        "done_words": done.effects.get("said", {}).get("words", []) if done else [],
        "rows": rows_of(sitting),
        "count": count_of(sitting, at),
        "run": run,
        "uid": uuids.uuid4(),
        "kept": [] if sitting.ended_at else _kept(request, sitting, shown),
        "here": sitting.get_absolute_url(),
        "next": None if sitting.ended_at else next_of(request.session.get(SESSION, []), sitting),
    }


def _kept(request: HttpRequest, sitting: Sitting, shown: OnBench | None) -> list[Item]:
    """Return what is half read and laid aside, the last first. One query."""
    codes = [code for code in drafts_of(request.session, sitting) if shown is None or code != shown.item.code]
    there = {item.code: item for item in Item.objects.filter(code__in=codes).select_related("type")} if codes else {}
    return [there[code] for code in reversed(codes) if code in there]


def fragments(
    request: HttpRequest, context: dict[str, Any], *, say: str, sound: str, url: str, status: int = 200
) -> JsonResponse:
    parts = {
        part: render_to_string(f"maintenance/bench/_{part}.html", context, request) for part in ("now", "last", "count", "mode")
    }
    shown = context["shown"]
    on = shown.item.code if shown else ""
    return JsonResponse(
        {"parts": parts, "say": say, "sound": sound, "url": url, "on": on, "run": context["run"]}, status=status
    )
