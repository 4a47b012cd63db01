"""At the bench: begin a sitting, scan, measure or take the tester's word, scan the next; printed labels do the rest."""

import uuid as uuids
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode

from django.db import transaction
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now
from inventory.models import Item
from maintenance.bench_drafts import draft_back, draft_forget, draft_given, draft_keep, draft_laid, drafts_of, words_of
from maintenance.bench_form import IN_OHMS, LAMPS_OF, answered
from maintenance.calc.bench import Depth, Procedure, Verdict
from maintenance.calc.bench_cards import BenchWord, read_bench_card
from maintenance.calc.symptoms import Symptom
from maintenance.forms_sitting import SittingForm, first_guess
from maintenance.models import BenchTest, Sitting
from maintenance.services.bench import Given, Recorded, TestRefused, test_record, test_undo
from maintenance.services.cell_bench import swap_at_bench
from maintenance.services.repairs import RepairRefused, repair_record
from maintenance.sitting_page import OnBench, found_by, on_bench
from maintenance.views.sitting_answer import (
    context_of,
    fragments,
    go,
    minutes_since,
    page,
    sitting_or_404,
    uuid_of,
    wants_fragments,
)

form_page = require_http_methods(["GET", "HEAD", "POST"])
BESIDE_WORD = (
    "Readings are typed as well, and a word would throw them away. Ask for the verdict on the readings, or clear them and give "
    "your word alone. Nothing is written yet."
)
DOUBLE = timedelta(seconds=6)  # a scanner whose trigger is held reads the same label twice
PAGE = 50
# what may be typed for a label; the script knows the same words
TYPED_WORDS = {word.value: word for word in BenchWord} | {
    "good": BenchWord.PASS,
    "bad": BenchWord.FAIL,
    "back": BenchWord.UNDO,
    "b": BenchWord.UNDO,
    "not flexed": BenchWord.STILL,
}
SOUNDS = {Verdict.PASS: "pass", Verdict.WATCH: "watch", Verdict.FAIL: "fail", Verdict.CANNOT_TELL: "unknown"}


@form_page
@technician_required
def sittings(request: HttpRequest) -> HttpResponse:
    """Show the sittings there were, newest first, and begin one."""
    person, at = signed_in(request), now()
    last = Sitting.objects.filter(person=person).order_by("-began_at", "-pk").first()
    form = SittingForm(request.POST if request.method == "POST" else None, initial=first_guess(last) | _minutes(request))
    if form.is_bound and form.is_valid():
        made = Sitting.objects.create(person=person, began_at=at, **form.given())
        query = urlencode({"scan": scan}) if (scan := request.POST.get("scan", "")[:40]) else ""
        return redirect(f"{made.get_absolute_url()}{'?' if query else ''}{query}")
    counting = Q(tests__corrected_by=None) & ~Q(tests__procedure=Procedure.UNDO)
    rows = Sitting.objects.select_related("person", "instrument__type").annotate(
        tested=Count("tests", filter=counting), bad=Count("tests", filter=counting & Q(tests__verdict=Verdict.FAIL))
    )
    context = {
        "section": "Bench",
        "room": "sittings",
        "form": form,
        "sittings": rows.order_by("-began_at", "-pk")[:PAGE],
        "mine": last if last and last.ended_at is None else None,
        "scan": request.GET.get("scan", "")[:40],
        "no_instrument": not form.fields["instrument"].queryset.exists(),  # type: ignore[attr-defined]
    }
    return render(request, "maintenance/bench/sittings.html", context, status=422 if form.errors else 200)


def _minutes(request: HttpRequest) -> dict[str, int]:
    asked = request.GET.get("minutes", "")
    return {"minutes": int(asked)} if asked.isascii() and asked.isdigit() and 0 < int(asked[:6]) <= 1440 else {}


@form_page
@technician_required
def sitting_change(request: HttpRequest, pk: int) -> HttpResponse:
    """Change instrument, depth, null, temperature or minutes; tests made before keep what they were made with."""
    sitting = get_object_or_404(Sitting, pk=pk)
    form = SittingForm(request.POST if request.method == "POST" else None, initial=first_guess(sitting))
    if form.is_bound and form.is_valid():
        for name, value in form.given().items():
            setattr(sitting, name, value)
        sitting.save(update_fields=[*form.given()])
        return redirect(sitting)
    context = {"section": "Bench", "form": form, "sitting": sitting}
    return render(request, "maintenance/bench/sitting_change.html", context, status=422 if form.errors else 200)


@never_cache
@require_safe
@technician_required
def sitting(request: HttpRequest, pk: int) -> HttpResponse:
    """Show the bench: the field for scans, what is on it, the last verdict, and what was tested so far."""
    return page(request, sitting_or_404(pk), request.GET)


@require_POST
@technician_required
def sitting_scan(request: HttpRequest, pk: int) -> HttpResponse:
    """Take whatever was scanned or typed: a thing, or a label that asks for something."""
    sitting, text = sitting_or_404(pk), request.POST.get("scan", "").replace("\0", " ").strip()[:4200]
    run = request.POST.get("run") == "yes"
    if sitting.ended_at:
        return go(request, sitting, say="This sitting has ended. Continue it first.", sound="unknown")
    here = _in_hand(request)
    if here is not None and (fields := draft_given(request.POST)):
        draft_keep(request.session, sitting=sitting, code=here.code, fields=fields, post=request.POST)
    word = TYPED_WORDS.get(text.lower()) or read_bench_card(text)
    if word is not None:
        return _obey(request, sitting, word, run)
    if not text:
        return go(request, sitting, run=run)
    found = found_by(text, back=sitting.get_absolute_url())
    if here is not None and not found.item and not found.url:
        return go(request, sitting, scan=here.code, say=_unheard(text, found.says, here), sound="unknown")
    if here is not None and not run and here != found.item:
        say = _laid_aside(request, sitting, here)
        return go(request, sitting, scan=text, say=say, sound="scan" if found.item else "unknown")
    if not run or found.item is None:
        return go(request, sitting, run=run, scan=text, sound="scan" if found.item else "unknown")
    return _good_one(request, sitting, found.item)


def _in_hand(request: HttpRequest) -> Item | None:
    return found_by(request.POST["on"], back="").item if request.POST.get("on") else None


def _unheard(text: str, says: str, here: Item) -> str:
    """Say in one sentence what could not be read; the thing in hand stays there with its readings."""
    short = f"“{text[:24]}{'…' if len(text) > 24 else ''}”"
    if "dock" in says or "channel" in says:
        return f"{says} {here} is still in hand."
    return f"{short} is no label, and no answer to what is asked of {here}: nothing of it is lost."


def _laid_aside(request: HttpRequest, sitting: Sitting, here: Item) -> str:
    """Say what is kept of a thing that is laid aside half read; empty when nothing of it was read."""
    kept = drafts_of(request.session, sitting).get(here.code)
    if not kept:
        return ""
    shown = on_bench(here, sitting=sitting, at=now(), procedure=kept["as"], flexed=kept["flexed"])
    draft_laid(shown.asked, kept)
    return words_of(here, shown.asked)


def _stepped_back(request: HttpRequest, sitting: Sitting, here: Item) -> HttpResponse:
    """Take back the last reading of the thing in hand; a test before it is safe until nothing is in hand."""
    if draft_back(request.session, sitting=sitting, code=here.code):
        say, sound = f"{here}: one reading back.", "undo"
    else:
        say, sound = f"Nothing is read of {here} yet. Lay it aside to take back the test before it.", "unknown"
    return go(request, sitting, scan=here.code, say=say, sound=sound)


def _good_one(request: HttpRequest, sitting: Sitting, item: Item) -> HttpResponse:
    """Count one scan of run mode as a good one, once, however often a held trigger reads it."""
    at = now()
    mine = BenchTest.objects.filter(sitting=sitting, item=item, corrected_by=None).exclude(procedure=Procedure.UNDO)
    again = mine.filter(received_at__gte=at - DOUBLE).order_by("-pk").first()
    if again is not None:
        return go(request, sitting, run=True, done=again, say=f"{item} is counted already.", sound="scan")
    return _record_word(request, sitting, item, good=True, run=True, minutes=_since_last(sitting, at))


def _since_last(sitting: Sitting, at: datetime) -> float | None:
    """Return the minutes since the last test of a sitting; None after a pause."""
    last = BenchTest.objects.filter(sitting=sitting).order_by("-received_at").values_list("received_at", flat=True).first()
    minutes = (at - (last or sitting.began_at)).total_seconds() / 60
    return round(minutes, 2) if 0 <= minutes <= 15 else None


@require_POST
@technician_required
def sitting_record(request: HttpRequest, pk: int) -> HttpResponse:
    """Record what was measured, or the tester's word; what is wrong is said beside it, and nothing typed is lost."""
    sitting, at, post = sitting_or_404(pk), now(), request.POST
    if sitting.ended_at:
        return go(request, sitting, say="This sitting has ended. Continue it first.", sound="unknown")
    found = found_by(post.get("code", ""), back=sitting.get_absolute_url())
    if found.item is None:
        return go(request, sitting, scan=post.get("code", "")[:40], sound="unknown")
    if post.get("keep") in {"yes", "lay"}:
        draft_keep(request.session, sitting=sitting, code=found.item.code, fields=draft_given(post), post=post)
        if post["keep"] == "yes":
            return HttpResponse(status=204)
        return go(request, sitting, say=_laid_aside(request, sitting, found.item) or f"{found.item}: laid aside, untested.")
    if post.get("word") in {"good", "bad"}:
        if set(draft_given(post)) - {"note"}:
            shown = on_bench(
                found.item, sitting=sitting, at=at, procedure=post.get("as", ""), flexed=post.get("flexed") == "yes"
            )
            answered(shown.asked, post)
            return _refused(request, sitting, shown, BESIDE_WORD)
        said = post.get("symptom", "")
        return _record_word(
            request,
            sitting,
            found.item,
            good=post["word"] == "good",
            note=" ".join(post.get("note", "").replace("\0", " ").split()),
            symptom=said if said in set(Symptom) else "",
            minutes=minutes_since(post.get("began", ""), at),
            uid=uuid_of(post.get("uid")),
            after=uuid_of(post.get("after")),
        )
    shown = on_bench(found.item, sitting=sitting, at=at, procedure=post.get("as", ""), flexed=post.get("flexed") == "yes")
    pairs, steps = answered(shown.asked, post)
    if shown.asked.wrong:
        return _refused(request, sitting, shown, "One answer cannot be read. Nothing is written yet.")
    given = Given(
        uid=uuid_of(post.get("uid")) or uuids.uuid4(),
        item=found.item,
        procedure=shown.asked.procedure,
        depth=shown.asked.seen_by,
        done_at=at,
        readings=pairs,
        steps=steps,
        note=shown.asked.note,
        minutes=minutes_since(post.get("began", ""), at),
        after=uuid_of(post.get("after")),
        **_with(sitting),
    )
    try:
        recorded = test_record(given=given, person=signed_in(request), received_at=at)
    except TestRefused as refused:
        return _refused(request, sitting, shown, str(refused), field=refused.field)
    return _told(request, sitting, recorded)


def _with(sitting: Sitting) -> dict[str, Any]:
    return {
        "sitting": sitting,
        "instrument": sitting.instrument,
        "null_ohms": sitting.null_ohms,
        "temperature_c": sitting.temperature_c,
    }


def _record_word(
    request: HttpRequest,
    sitting: Sitting,
    item: Item,
    *,
    good: bool,
    run: bool = False,
    note: str = "",
    symptom: str = "",
    minutes: float | None = None,
    uid: uuids.UUID | None = None,
    after: uuids.UUID | None = None,
    corrects: BenchTest | None = None,
) -> HttpResponse:
    at, depth = now(), Depth(sitting.depth)
    given = Given(
        uid=uid or uuid_of(request.POST.get("uid")) or uuids.uuid4(),
        item=item,
        procedure=Procedure.WORD,
        # a word without readings is no deeper than lamps, whatever the instrument could have shown
        depth=LAMPS_OF.get(depth, depth),
        done_at=at,
        word=good,
        symptom="" if good else symptom,
        note=note,
        minutes=minutes,
        after=after,
        corrects=corrects,
        **_with(sitting),
    )
    try:
        recorded = test_record(given=given, person=signed_in(request), received_at=at)
    except TestRefused as refused:
        if run:
            return go(request, sitting, run=True, say=str(refused), sound="unknown")
        shown = on_bench(item, sitting=sitting, at=at, procedure=Procedure.WORD)
        shown.asked.note, shown.asked.symptom = note, symptom
        return _refused(request, sitting, shown, str(refused), field=refused.field)
    return _told(request, sitting, recorded, run=run)


def _refused(request: HttpRequest, sitting: Sitting, shown: OnBench, words: str, field: str = "") -> HttpResponse:
    """Say why nothing was written, with everything typed still there; once seen, another tester's test is no obstacle."""
    shown.refused = words
    if fields := draft_given(request.POST):
        draft_keep(request.session, sitting=sitting, code=shown.item.code, fields=fields, post=request.POST)
    began = request.POST.get("began", "")
    shown.began = began if minutes_since(began, now()) is not None else shown.began
    if field != "after":
        shown.after = uuid_of(request.POST.get("after")) or shown.after
    context = context_of(request, sitting, shown=shown)
    if wants_fragments(request):
        return fragments(request, context, say=words, sound="unknown", url=request.META.get("HTTP_REFERER", ""), status=422)
    return render(request, "maintenance/bench/sitting.html", context, status=422)


def _told(request: HttpRequest, sitting: Sitting, recorded: Recorded, *, run: bool = False) -> HttpResponse:
    test = recorded.test
    draft_forget(request.session, sitting=sitting, code=test.item.code)
    titles = "; ".join(f.title for f in recorded.judgement.findings) or " ".join(recorded.judgement.reasons[:1])
    verdict = Verdict(test.verdict)
    say = f"{verdict.replace('_', ' ')}. {test.item}. {titles}"
    return go(request, sitting, run=run, done=test, say=say, sound=SOUNDS[verdict], quiet=True)


def _obey(request: HttpRequest, sitting: Sitting, word: BenchWord, run: bool) -> HttpResponse:
    """Do what a printed label asks for."""
    here = _in_hand(request)
    match word:
        case BenchWord.RUN:
            on = "Run: each scan is a good one now. Scan Bad after one that is not."
            return go(request, sitting, run=not run, say="Run has stopped." if run else on, sound="scan")
        case BenchWord.NEXT:
            say = (_laid_aside(request, sitting, here) or f"{here}: laid aside, untested.") if here else ""
            return go(request, sitting, run=run, say=say, sound="scan")
        case BenchWord.END:
            return _end(request, sitting)
        case BenchWord.FLEXED | BenchWord.STILL:
            return _bent(request, sitting, here, run, bent=word == BenchWord.FLEXED)
        case BenchWord.YES | BenchWord.NO:
            asks = "Yes and No answer the step that is asked: answer it in its field." if here else "No step is asked."
            return go(request, sitting, run=run, scan=here.code if here else "", say=asks, sound="unknown")
        case BenchWord.CELL if here is not None:
            return _cell_swapped(request, sitting, here, run)
        case BenchWord.UNDO if here is not None and not run:
            return _stepped_back(request, sitting, here)
        case BenchWord.AGAIN if here is not None:
            draft_forget(request.session, sitting=sitting, code=here.code)
            return go(request, sitting, scan=here.code, say=f"{here} once more.", sound="scan")
        case BenchWord.PASS | BenchWord.FAIL if here is not None:
            if drafts_of(request.session, sitting).get(here.code, {}).get("fields", {}).keys() - {"note"}:
                return go(request, sitting, scan=here.code, say=BESIDE_WORD, sound="unknown")
            return _record_word(request, sitting, here, good=word == BenchWord.PASS)
        case BenchWord.PASS:
            return _first(request, sitting, run)
    last = _newest(sitting)
    if last is None:
        return go(request, sitting, run=run, say="Nothing is tested in this sitting yet.", sound="unknown")
    match word:
        case BenchWord.FAIL:
            return _last_is_bad(request, sitting, last, run)
        case BenchWord.AGAIN:
            return go(request, sitting, scan=last.item.code, say=f"{last.item} once more.", sound="scan")
        case BenchWord.UNDO:
            return _undone(request, sitting, last, run)
    return _cell_swapped(request, sitting, last.item, run)


def _bent(request: HttpRequest, sitting: Sitting, here: Item | None, run: bool, *, bent: bool) -> HttpResponse:
    """Note that what is tested from now on is bent while it is read, or lies still."""
    still, flexed = (Depth.OHMS, Depth.OHMS_FLEXED) if sitting.depth in IN_OHMS else (Depth.LAMPS, Depth.LAMPS_FLEXED)
    sitting.depth = flexed if bent else still
    sitting.save(update_fields=["depth"])
    if here is not None and (kept := drafts_of(request.session, sitting).get(here.code)):
        how = {"as": kept["as"], "flexed": "yes" if bent else ""}
        draft_keep(request.session, sitting=sitting, code=here.code, fields=kept["fields"], post=how)
    say = "Bend each at both ends while you read it." if bent else "Not flexed: each lies still while you read it."
    return go(request, sitting, run=run, scan=here.code if here else "", say=say, sound="scan")


def _first(request: HttpRequest, sitting: Sitting, run: bool) -> HttpResponse:
    return go(request, sitting, run=run, say="Nothing is on the bench: scan a thing first.", sound="unknown")


def _newest(sitting: Sitting) -> BenchTest | None:
    mine = BenchTest.objects.filter(sitting=sitting, corrected_by=None).exclude(procedure=Procedure.UNDO)
    return mine.select_related("item__type").order_by("-received_at", "-pk").first()


def _last_is_bad(request: HttpRequest, sitting: Sitting, last: BenchTest, run: bool) -> HttpResponse:
    """Mark what was scanned last as bad: its good word is corrected, so that one scan stays one test."""
    if last.verdict == Verdict.FAIL:
        return go(request, sitting, run=run, done=last, say=f"{last.item} is marked bad already.", sound="unknown")
    if last.procedure != Procedure.WORD:
        return _record_word(request, sitting, last.item, good=False, run=run)
    return _record_word(request, sitting, last.item, good=False, run=run, minutes=last.minutes, corrects=last)


def _undone(request: HttpRequest, sitting: Sitting, test: BenchTest, run: bool) -> HttpResponse:
    try:
        made = test_undo(test=test, person=signed_in(request), at=now())
    except TestRefused as refused:
        return go(request, sitting, run=run, say=str(refused), sound="unknown")
    back = made.procedure != Procedure.UNDO
    say = f"{test.item}: its test counts again." if back else f"Taken back: {test.item}."
    return go(request, sitting, run=run, say=say, sound="undo")


def _cell_swapped(request: HttpRequest, sitting: Sitting, item: Item, run: bool) -> HttpResponse:
    uid, at = uuid_of(request.POST.get("uid")) or uuids.uuid4(), now()
    try:
        with transaction.atomic():
            repair_record(uid=uid, item=item, did="Cell swapped", done_at=at, person=signed_in(request), received_at=at)
            swapped = swap_at_bench(uid=uid, item=item, at=at, person=signed_in(request))
    except RepairRefused as refused:
        return go(request, sitting, run=run, say=str(refused), sound="unknown")
    on = request.POST.get("on", "")[:40]
    say = f"{item}: cell swapped, noted." + (f" {swapped}" if swapped else "")
    return go(request, sitting, run=run, scan=on, say=say, sound="scan")


@require_POST
@technician_required
def sitting_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a test of this sitting back, or put it back: undo works on the undo too."""
    sitting = sitting_or_404(pk)
    wanted = uuid_of(request.POST.get("uid"))
    test = get_object_or_404(BenchTest.objects.select_related("item__type"), uid=wanted or uuids.UUID(int=0))
    return _undone(request, sitting, test, request.POST.get("run") == "yes")


@require_POST
@technician_required
def sitting_end(request: HttpRequest, pk: int) -> HttpResponse:
    """End a sitting, or continue one that was ended."""
    sitting = sitting_or_404(pk)
    if request.POST.get("go") == "on":
        Sitting.objects.filter(pk=sitting.pk).update(ended_at=None)
        return redirect(sitting)
    return _end(request, sitting)


def _end(request: HttpRequest, sitting: Sitting) -> HttpResponse:
    Sitting.objects.filter(pk=sitting.pk, ended_at=None).update(ended_at=now())
    if wants_fragments(request):
        return JsonResponse({"leave": sitting.get_absolute_url()})
    return redirect(sitting)
