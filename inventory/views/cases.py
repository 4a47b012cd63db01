"""Cases: the list with short and extra at a glance, one case with its plan, and packing."""

import uuid
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_POST

from company.access import technician_required
from company.clock import now, today
from company.templatetags.tape import metres
from inventory.calc.kinds import WHERE_LIFTED, Kind
from inventory.forms_shelf import PlanCopyForm, PlanLineForm, form_uid, who
from inventory.models import CountedLine, GearType, Item
from inventory.packing import case_history, case_reports
from inventory.registries import CASE_PANELS, show_names
from inventory.services.cases import case_count_set, case_counts, placement_record, plan_copy, plan_from_contents, plan_line_set
from inventory.services.packing import DEVICE, pack_scan

PAGE = 50
HISTORY = 40


def cases(request: HttpRequest) -> HttpResponse:
    """List the cases, each against its plan."""
    found = Item.objects.described(today()).owned().filter(type__kind=Kind.CASE).select_related("in_case__type")
    for word in request.GET.get("q", "")[:200].split()[:8]:
        found = found.filter(
            Q(name__icontains=word) | Q(type__name__icontains=word) | Q(code__istartswith=word.replace("-", ""))
        )
    only = request.GET.get("only", "")
    if only == "short":
        ids = list(found.order_by().values_list("pk", flat=True))
        reports = case_reports(ids)
        found = found.filter(pk__in=[pk for pk in ids if reports[pk].packed.short or reports[pk].packed.extra])
    page = Paginator(found.order_by("type__name", "name", "code"), PAGE).get_page(request.GET.get("page"))
    rows = list(page)
    reports = case_reports([case.pk for case in rows])
    names = show_names(case.custody_show for case in rows)
    for case in rows:
        case.report = reports[case.pk]
        case.lifted = WHERE_LIFTED.get(case.where, "")
        case.at_show = names.get(case.custody_show, ("", ""))[0]
    context = {
        "section": "Cases",
        "page": page,
        "cases": rows,
        "only": only,
        "words": request.GET.get("q", ""),
        "filtered": bool(only or request.GET.get("q")),
    }
    return render(request, "inventory/cases.html", context)


def case(request: HttpRequest, code: str) -> HttpResponse:
    """Draw one case: what lies in it, its plan, what is short and extra, and its history."""
    found = _case(code)
    if found.type.kind != Kind.CASE:
        return _no_case(request, found)
    return _case_page(request, found)


def case_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """Draw the contents sheet that goes inside the lid."""
    found = _case(code)
    if found.type.kind != Kind.CASE:
        return _no_case(request, found)
    return render(request, "inventory/case_sheet.html", {"section": "Cases", **_inside(found), "at": now()})


@technician_required
@require_POST
def case_plan(request: HttpRequest, code: str) -> HttpResponse:
    """Set one line of a case's plan; 0 takes it off."""
    found = _case(code)
    if found.type.kind != Kind.CASE:
        return _no_case(request, found)
    if request.POST.get("do") == "contents":
        lines = plan_from_contents(case=found)
        messages.success(request, f"The plan is now what lies in it: {lines} {'line' if lines == 1 else 'lines'}.")
        return redirect("case", code=found.code)
    if request.POST.get("do") == "copy":
        copy = PlanCopyForm(request.POST, case=found)
        if not copy.is_valid():
            return _case_page(request, found, copy_form=copy)
        plan_copy(case=found, source=copy.cleaned_data["source"])
        messages.success(request, f"The plan of {copy.cleaned_data['source']} is copied here.")
        return redirect("case", code=found.code)
    data = request.POST.copy()
    if "off" in data:
        data["count"] = "0"
    form = PlanLineForm(data)
    if form.is_valid():
        plan_line_set(case=found, **form.cleaned_data)
        return redirect(f"{reverse('case', args=[found.code])}#plan")
    return _case_page(request, found, plan_form=form)


@require_POST
def case_take_out(request: HttpRequest, code: str) -> HttpResponse:
    """Take one thing out of a case."""
    found = _case(code)
    item = get_object_or_404(Item.objects.select_related("type"), code=request.POST.get("item", "")[:8])
    if item.in_case_id == found.pk:
        placement_record(uid=form_uid(request), item=item, case=None, effective_at=now(), device=DEVICE, person=who(request))
        messages.success(request, f"{item} is out of the case.")
    return redirect((request.POST.get("back") == "packing" and "case-pack") or "case", code=found.code)


def packing(request: HttpRequest) -> HttpResponse:
    """Begin packing: scan the case."""
    if request.method == "POST":
        answer = pack_scan(uid=form_uid(request), case=None, text=request.POST.get("text", ""), at=now(), person=who(request))
        if answer.opens:
            return redirect("case-pack", code=answer.opens.code)
        return render(
            request, "inventory/packing.html", {"section": "Cases", "answer": answer, "uid": uuid.uuid4()}, status=422
        )
    return render(request, "inventory/packing.html", {"section": "Cases", "uid": uuid.uuid4()})


def case_pack(request: HttpRequest, code: str) -> HttpResponse:
    """Pack one case: each scan is a form sent here; a script sends the same form and swaps the fragment it gets back."""
    found = _case(code)
    if found.type.kind != Kind.CASE:
        return _no_case(request, found)
    taking_out = request.POST.get("way", request.GET.get("way")) == "out"
    here = reverse("case-pack", args=[found.code]) + ("?way=out" if taking_out else "")
    fragment = request.headers.get("X-Fragment") == "yes"
    if request.method != "POST":
        said = request.session.pop("packed", None)
        return render(request, "inventory/packing.html", _bench(found, taking_out, said))
    answer = pack_scan(
        uid=form_uid(request),
        case=found,
        text=request.POST.get("text", ""),
        taking_out=taking_out,
        at=now(),
        person=who(request),
    )
    said = {"signal": answer.signal, "said": answer.said, "counts": answer.counts.pk if answer.counts else None}
    close = reverse("case-close", args=[found.code])
    if fragment:
        response = render(request, "inventory/_packing.html", _bench(found, taking_out, said))
        response["X-Signal"] = answer.signal
        if answer.closes:
            response["X-Go"] = close
        return response
    if answer.closes:
        return redirect(close)
    request.session["packed"] = said
    return redirect(here)


def case_close(request: HttpRequest, code: str) -> HttpResponse:
    """Close a case: count what is counted in it, and hear what is short and extra."""
    found = _case(code)
    if found.type.kind != Kind.CASE:
        return _no_case(request, found)
    asked = request.POST.get("lines", "")
    lines = _countable(found, also=int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 16 else None)
    wrong = ""
    if request.method == "POST":
        at, uid = now(), form_uid(request)
        numbers: list[tuple[CountedLine, int]] = []
        for line in lines:
            text = request.POST.get(f"count-{line.pk}", "").strip()
            if not text:
                continue
            if not (text.isascii() and text.isdigit() and len(text) <= 6 and int(text) <= 100_000):
                wrong = f"{line}: give a whole number, 0 or more, or leave it empty."
                break
            numbers.append((line, int(text)))
        if not wrong:
            for line, count in numbers:
                if count != line.lies_here:
                    case_count_set(
                        uid=uuid.uuid5(uid, str(line.pk)), case=found, line=line, count=count, at=at, person=who(request)
                    )
            if "stay" in request.POST:
                return redirect("case-pack", code=found.code)
            report = case_reports([found.pk])[found.pk]
            bag = getattr(getattr(found.type, "case_facts", None), "bench_bag", False)
            suspect = 0 if bag else report.suspect
            fine = (report.packed.as_planned or not report.packed.has_plan) and not suspect
            look = f" Look: {suspect} suspect in it." if suspect else ""
            (messages.success if fine else messages.warning)(request, f"{found} is closed: {report.says}.{look}")
            return redirect("case", code=found.code)
    context = {**_inside(found), "section": "Cases", "lines": lines, "uid": uuid.uuid4(), "wrong": wrong}
    return render(request, "inventory/case_close.html", context, status=422 if wrong else 200)


def _case(code: str) -> Item:
    code = code.upper().replace("-", "")[:8]
    return get_object_or_404(Item.objects.described(today()), Q(code=code) | Q(labels__code=code))


def _no_case(request: HttpRequest, item: Item) -> HttpResponse:
    said = f"{item} is no case: it holds nothing and has no plan."
    return render(request, "404.html", {"said": said}, status=404)


def _inside(found: Item) -> dict[str, Any]:
    """Gather what lies in a case, against its plan."""
    held = list(Item.objects.described(today()).filter(in_case=found).order_by("type__name", "length_mm", "name", "code"))
    for item in held:
        item.lifted = WHERE_LIFTED.get(item.where, "") if item.custody != found.custody else ""
    counts = case_counts([found.pk])[found.pk]
    counted = list(CountedLine.objects.filter(pk__in=counts).select_related("type"))
    for line in counted:
        line.lies_here = counts[line.pk]
    report = case_reports([found.pk])[found.pk]
    types = {t.pk: t for t in GearType.objects.filter(pk__in={line.type_id for line in report.packed.lines})}
    plan = [
        {
            "type": types[line.type_id],
            "name": " ".join(part for part in (types[line.type_id].name, metres(line.length_mm)) if part),
            "metres": line.length_mm / 1000 if line.length_mm else "",
            "line": line,
        }
        for line in report.packed.lines
    ]
    return {
        "case": found,
        "held": held,
        "counted": counted,
        "report": report,
        "plan": plan,
        "suspect": [item for item in held if item.suspect_since],
        "bench_bag": getattr(getattr(found.type, "case_facts", None), "bench_bag", False),
    }


def _case_page(request: HttpRequest, found: Item, **bound: Any) -> HttpResponse:
    inside, at = _inside(found), now()
    panels = [panel for tell in CASE_PANELS if (panel := tell(request, found, inside["held"], at))]
    context = {
        "section": "Cases",
        **inside,
        "panels": [
            {"title": panel.title, "body": render_to_string(panel.template, {"case": found, **panel.context}, request)}
            for panel in panels
        ],
        "at_show": show_names([found.custody_show]).get(found.custody_show, ("", "")),
        "lifted": WHERE_LIFTED.get(found.where, ""),
        "moves": case_history(found, HISTORY),
        "uid": uuid.uuid4(),
        "plan_form": PlanLineForm(),
        "copy_form": PlanCopyForm(case=found),
        **bound,
    }
    return render(request, "inventory/case.html", context, status=422 if bound else 200)


def _bench(found: Item, taking_out: bool, said: dict[str, Any] | None) -> dict[str, Any]:
    """Gather what the packing page shows."""
    return {
        "section": "Cases",
        **_inside(found),
        "taking_out": taking_out,
        "answer": said,
        "counts": CountedLine.objects.filter(pk=said["counts"]).select_related("type").first()
        if said and said.get("counts")
        else None,
        "uid": uuid.uuid4(),
    }


def _countable(found: Item, also: int | None) -> list[CountedLine]:
    """Return the counted lines that the plan asks for or that were last counted in this case, and one more if asked."""
    counts = case_counts([found.pk])[found.pk]
    wanted = Q(pk__in=counts) | Q(pk=also)
    planned = {(type_id, mm): n for type_id, mm, n in found.plan.values_list("type_id", "length_mm", "count")}
    for type_id, length_mm in planned:
        wanted |= Q(type_id=type_id, length_mm=length_mm)
    lines = list(CountedLine.objects.filter(wanted).select_related("type"))
    for line in lines:
        line.lies_here = counts.get(line.pk, 0)
        line.was_counted = line.pk in counts
        line.planned = planned.get((line.type_id, line.length_mm), 0)
    return lines
