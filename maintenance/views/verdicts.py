"""One test: its verdict with reasons, what reaches what, the readings; correct it, take it back, test again."""

import uuid as uuids
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import signed_in, technician_required
from company.clock import now, today
from inventory.models import Item
from maintenance.bench_form import Asked, answered, asked_of, prefill
from maintenance.bench_subject import Subject, subject_of
from maintenance.calc.bench import Depth, Procedure, Verdict, how_words
from maintenance.calc.symptoms import Symptom
from maintenance.models import BenchSettings, BenchTest, Sitting
from maintenance.services.bench import Given, TestRefused, test_record, test_undo
from maintenance.sitting_page import EDGES, MARKS, WORDS, lead_drawing
from maintenance.verdict_page import Readings, Since, pairs_of, readings_of, since_of, steps_of, where_to_look

form_page = require_http_methods(["GET", "HEAD", "POST"])
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def _test_or_404(uid: uuids.UUID) -> BenchTest:
    rows = BenchTest.objects.select_related("item__type", "person", "corrects", "corrected_by__person", "sitting")
    return get_object_or_404(rows.prefetch_related("figures"), uid=uid)


@require_safe
def bench_test(request: HttpRequest, uid: uuids.UUID) -> HttpResponse:
    """Show what a test came to and why; a row that only takes another back leads to that one."""
    test = _test_or_404(uid)
    if test.procedure == Procedure.UNDO:
        return redirect("bench-test", uid=test.corrects.uid) if test.corrects else redirect(test.item)
    at = now()
    item = Item.objects.described(today(at)).get(pk=test.item_id)
    subject = subject_of([item])[item.pk]
    verdict = Verdict(test.verdict)
    by = getattr(test, "corrected_by", None)
    here = Sitting.objects.filter(person=signed_in(request), ended_at=None).order_by("-began_at").first()
    repaired = where_to_look(test) if verdict in {Verdict.FAIL, Verdict.WATCH} and test.procedure == Procedure.WIRING else None
    again = f"{here.get_absolute_url()}?scan={item.code}" if here else f"{reverse('sittings')}?scan={item.code}"
    mend = reverse("repair-add", args=[item.code])
    since = Since()
    if by is None:
        since = since_of(
            test,
            subject,
            mend=f"{mend}?end={repaired.end}" if repaired else mend,
            mend_words=f"Open plug {repaired.end} and repair" if repaired else "Repair it",
            again=again,
            next_scan=here.get_absolute_url() if here else reverse("sittings"),
        )
    context: dict[str, Any] = {
        "section": "Bench",
        "test": test,
        "since": since,
        "item": item,
        "word": WORDS[verdict],
        "mark": MARKS[verdict],
        "edge": EDGES[verdict],
        "why_so": _why_so(test),
        "depth": "" if test.procedure == Procedure.MAINS else how_words(test.procedure, Depth(test.depth)),
        "said": test.effects.get("said", {}).get("words", []),
        "by": by,
        "taken_back": by is not None and by.procedure == Procedure.UNDO,
        "repaired": repaired,
        "ends": _ends_named(test),
        "sitting": here,
        "again": again,
        "mains": test.procedure == Procedure.MAINS or item.type.kind in ("power", "amplifier"),
        **_measured(test, subject),
    }
    return render(request, "maintenance/bench/test.html", context)


def _why_so(test: BenchTest) -> str:
    count = len(test.findings)
    if not count:
        return ""
    number = COUNTS[count] if count < len(COUNTS) else str(count)
    return f"for {number} reason{'s' if count > 1 else ''}"


def _ends_named(test: BenchTest) -> list[str]:
    """Return the ends that a lead's findings touch, which a repair would open."""
    return sorted({pin[:1] for finding in test.findings for pin in finding.get("pins", ()) if pin[:1].isalpha()})


def _measured(test: BenchTest, subject: Subject) -> dict[str, Any]:
    """Return the picture and the readings of a lead, or the steps of a box."""
    limits = BenchSettings.current().limits()
    if test.procedure == Procedure.WIRING and subject.lead is not None and subject.wiring is not None:
        if test.wiring and test.wiring != subject.wiring.key:
            return {"other_wiring": test.wiring, "pairs": pairs_of(test)}
        from maintenance.calc.wiring import links

        wiring, pairs = subject.lead.wiring, pairs_of(test)
        joins = links(
            wiring=wiring,
            readings=pairs,
            limits=limits,
            lead=subject.lead,
            null_ohms=test.null_ohms,
            temperature_c=test.temperature_c,
        )
        readings: Readings = readings_of(wiring, pairs, joins)
        return {"picture": lead_drawing(wiring, joins), "readings": readings}
    if test.readings.get("steps"):
        from maintenance.calc.procedures import every_step

        # the shop may have sold the meter since: what was answered then is told all the same
        steps = every_step(procedure=Procedure(test.procedure), facts=subject.facts, limits=limits, golden=subject.golden)
        return {"steps": steps_of(test, subject, steps)}
    return {}


@form_page
@technician_required
def bench_test_correct(request: HttpRequest, uid: uuids.UUID) -> HttpResponse:
    """Correct a test: its readings stand in the form, and what is sent stands in for it in a row of its own."""
    test, at = _test_or_404(uid), now()
    by = getattr(test, "corrected_by", None)
    if test.procedure == Procedure.UNDO or by is not None:
        messages.warning(request, "That test was corrected or taken back already: this is what stands in for it.")
        return redirect(by or test)
    item = Item.objects.described(today(at)).get(pk=test.item_id)
    subject = subject_of([item])[item.pk]
    asked = _asked_again(test, subject)
    refused = ""
    if request.method == "POST":
        pairs, steps = answered(asked, request.POST)
        word = {"good": True, "bad": False}.get(request.POST.get("word", ""))
        asked.word = word
        if not asked.wrong:
            given = Given(
                uid=_uuid(request.POST.get("uid")) or uuids.uuid4(),
                item=item,
                procedure=asked.procedure,
                depth=asked.seen_by,
                done_at=test.done_at,
                readings=pairs,
                steps=steps,
                word=word,
                symptom=asked.symptom,
                instrument=test.instrument,
                instrument_name=test.instrument_name,
                null_ohms=test.null_ohms,
                temperature_c=test.temperature_c,
                sitting=test.sitting,
                note=asked.note,
                minutes=test.minutes,
                corrects=test,
            )
            try:
                recorded = test_record(given=given, person=signed_in(request), received_at=at)
                messages.success(request, "Corrected. The test before it is kept and struck.")
                return redirect(recorded.test)
            except TestRefused as error:
                refused = str(error)
        else:
            refused = "One answer cannot be read. Nothing is written yet."
    else:
        prefill(asked, test)
    context = {
        "section": "Bench",
        "test": test,
        "item": item,
        "asked": asked,
        "symptoms": list(Symptom),
        "refused": refused,
        "uid": uuids.uuid4(),
    }
    return render(request, "maintenance/bench/correct.html", context, status=422 if refused else 200)


def _asked_again(test: BenchTest, subject: Subject) -> Asked:
    settings = BenchSettings.current()
    return asked_of(
        subject,
        procedure=Procedure(test.procedure),
        depth=Depth(test.depth),
        limits=settings.limits(),
        capabilities=settings.capabilities(),
        temperature_c=test.temperature_c,
        also=[(pair["from"], pair["to"]) for pair in test.readings.get("pairs", ())],
    )


def _uuid(text: Any) -> uuids.UUID | None:
    try:
        return uuids.UUID(str(text or ""))
    except ValueError:
        return None


@require_POST
@technician_required
def bench_test_undo(request: HttpRequest, uid: uuids.UUID) -> HttpResponse:
    """Take a test back by a new row, or take that back: undo works on the undo too."""
    test = _test_or_404(uid)
    try:
        made = test_undo(test=test, person=signed_in(request), at=now())
    except TestRefused as refused:
        messages.warning(request, str(refused))
        return redirect(test)
    if made.procedure == Procedure.UNDO:
        messages.success(request, "Taken back: it counts no more. It can be put back from here.")
        return redirect(test)
    messages.success(request, "It counts again.")
    return redirect(made)
