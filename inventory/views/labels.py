"""The labels page: what to print, on which sheet; printing, printing again, the test page, and single labels."""

import uuid
from io import BytesIO
from typing import Any, cast
from urllib.parse import urlencode

from django.contrib import messages
from django.core.files.base import ContentFile
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from company import clock
from company.access import technician_required
from company.jobs import job_progress, job_result, job_start
from company.models import Company, Job, Person
from inventory.calc import codes as code_words
from inventory.calc import label_drawings as d
from inventory.calc import labels as qr
from inventory.calc.label_sheets import (
    Order,
    Stock,
    StockError,
    next_start,
    off_the_sheet,
    stock_of,
)
from inventory.forms_labels import OWN, LabelsForm, TrimForm
from inventory.label_preview import preview_of
from inventory.labelled import blank_and_printed, label_missing, without_label
from inventory.models import Item, Label, LabelRun, PrinterTrim
from inventory.pdf.pictures import label_png, label_svg, symbol_png
from inventory.pdf.sheets import trial_page_pdf
from inventory.services.label_runs import (
    FACTS_WITH_DIAMETER,
    MOST_AT_ONCE,
    MOST_IN_A_REQUEST,
    Planned,
    Wanted,
    labels_print,
    plan,
    run_again,
    run_pdf,
    texts_of_item,
)
from inventory.services.labels import LabelRefused, label_renewed

JOB_KIND = "labels"
LISTED = 200
ABOUT_PRINTER = ("sheet", "wide", "high", "gap", "printer", "dpi")


@never_cache
@require_safe
@technician_required
def labels(request: HttpRequest) -> HttpResponse:
    """Show what wants a label, and the sheet as it would be printed."""
    company = Company.current()
    form = LabelsForm(_defaults(request.GET, company))
    context: dict[str, Any] = {"section": "Labels", "form": form, "trim_form": TrimForm(), "company_row": company}
    context |= _to_do() | {"token": uuid.uuid4(), "runs": LabelRun.objects.select_related("person")[:8]}
    if form.is_valid():
        context |= _shown(request, form, company)
    return render(request, "inventory/labels.html", context)


@technician_required
def labels_print_view(request: HttpRequest) -> HttpResponse:
    """Print what the page shows: log it, mark the labels as printed, and lead to the PDF. A GET leads to the page."""
    if request.method != "POST":
        return redirect(f"{reverse('labels')}?{_asked(request.GET).urlencode()}")
    at = clock.now()
    company = Company.current()
    form = LabelsForm(_defaults(request.POST, company))
    if not form.is_valid():
        for wrong in form.errors.values():
            messages.error(request, " ".join(map(str, wrong)))
        return _back(request)
    chosen = list(_chosen(request.POST, form).values_list("code", flat=True)[: MOST_AT_ONCE + 1])
    stock, start = _stock_and_start(
        form, plan(form.wanted(codes=chosen[:1], start=1, stock="a4-boxes"), company=company), company
    )
    try:
        wanted = form.wanted(codes=chosen, start=start, stock=stock.key)
        run = labels_print(wanted=wanted, person=cast(Person, request.user), at=at, token=_token(request))
    except LabelRefused as refused:
        messages.error(request, str(refused))
        return _back(request)
    return _to_pdf(request, run, at)


@require_safe
@technician_required
def label_run(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one printing: its PDF, what to check, and print it again."""
    run = get_object_or_404(LabelRun.objects.select_related("person"), pk=pk)
    stock = stock_of(run.sheet)
    context = {
        "section": "Labels",
        "run": run,
        "stock": stock,
        "next_start": next_start(stock, start=run.start_at, count=run.count),
        "pages": (run.start_at - 1 + run.count + stock.per_page - 1) // stock.per_page,
        "items": Item.objects.filter(code__in=run.codes[:LISTED]).select_related("type"),
        "blanks": run.given.get("blanks", []),
        "token": uuid.uuid4(),
        "in_a_job": run.count > MOST_IN_A_REQUEST,
    }
    return render(request, "inventory/label_run.html", context)


@require_safe
@technician_required
def label_run_pdf(request: HttpRequest, pk: int) -> Any:
    """Hand over a printing's PDF."""
    run = get_object_or_404(LabelRun, pk=pk)
    out = BytesIO()
    run_pdf(run=run, out=out)
    out.seek(0)
    return FileResponse(out, as_attachment=True, filename=f"labels-{run.pk}.pdf", content_type="application/pdf")


@require_POST
@technician_required
def label_run_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Print the same once more, from another place."""
    run = get_object_or_404(LabelRun, pk=pk)
    at = clock.now()
    text = request.POST.get("start", "1").strip()
    start = int(text) if text.isascii() and text.isdigit() and len(text) < 5 else 0
    try:
        again = run_again(run=run, start=start, person=cast(Person, request.user), at=at, token=_token(request))
    except LabelRefused as refused:
        messages.error(request, str(refused))
        return redirect("label-run", pk)
    return _to_pdf(request, again, at)


@require_POST
@technician_required
def label_stuck(request: HttpRequest) -> HttpResponse:
    """Tick things as carrying their label again, or from the start."""
    at = clock.now()
    chosen = list(Item.objects.filter(code__in=request.POST.getlist("only")[:MOST_AT_ONCE]))
    for item in chosen:
        label_renewed(item=item, at=at)
    if chosen:
        messages.success(request, f"{_count(len(chosen), 'thing')} ticked as labelled.")
    else:
        messages.error(request, "Nothing was ticked.")
    return _back(request)


@require_POST
@technician_required
def label_trim(request: HttpRequest) -> HttpResponse:
    """Keep a printer's trim under its name; the same name is changed."""
    known = PrinterTrim.objects.filter(name=request.POST.get("name", "").strip()[:40]).first()
    form = TrimForm(request.POST, instance=known)
    if not form.is_valid():
        for name, wrong in form.errors.items():
            label = form.fields[name].label if name in form.fields else ""
            messages.error(request, f"{label}: {' '.join(map(str, wrong))}" if label else " ".join(map(str, wrong)))
        return _back(request)
    trim = form.save()
    messages.success(request, f"{trim.name} is kept: choose it under Printer, and print a test page.")
    return redirect(f"{reverse('labels')}?{urlencode({'printer': trim.pk})}")


@require_safe
@technician_required
def label_trial(request: HttpRequest) -> HttpResponse:
    """Hand over a test page: the outline of every label, and a rule of 100 mm."""
    company = Company.current()
    form = LabelsForm(_defaults(request.GET, company))
    stock = (form.is_valid() and form.cleaned_data.get("stock")) or stock_of(f"{company.paper}-boxes")
    wanted = form.wanted(codes=[], start=1, stock=stock.key) if form.is_valid() else Wanted()
    lines = (
        "Measure the rule. If it is not 100.0 mm, turn off",
        '"fit to page" first; then set the scale to 100',
        "divided by what it measures, times 100.",
        "If the outlines miss the labels, nudge them.",
    )
    data = trial_page_pdf(stock=stock, dpi=wanted.dpi, trim=wanted.trim, lines=lines)
    answer = HttpResponse(data, content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="test-page-{stock.key}.pdf"'
    return answer


@require_safe
@technician_required
def label_picture(request: HttpRequest, code: str, kind: str) -> HttpResponse:
    """Hand over one label as PNG on whole printer dots, or as SVG: `?sheet=roll-50x25&dpi=203&end=B`; `only=qr` leaves the
    letters out, with `dots` dots a module."""
    read = code_words.parse(code)
    item = (
        Item.objects.filter(labels__code=read.code).select_related("type", *FACTS_WITH_DIAMETER).first() if read.code else None
    )
    if item is None and not Label.objects.filter(code=read.code).exists():
        raise Http404("There is no label of that code.")
    company = Company.current()
    dpi = _whole(request, "dpi", 300, 100, 2400)
    try:
        stock = stock_of(request.GET.get("sheet") or "roll-50x25")
    except StockError as error:
        raise Http404(str(error)) from error
    carries = qr.payload_of(read.code, company.site_address)
    if item:
        texts = texts_of_item(item, site_address=company.site_address, units=company.units)
        text = texts[-1] if request.GET.get("end", "A").upper() == "B" else texts[0]
    else:
        text = d.LabelText(form=d.Form.BOX, carries=carries, code=read.code)
    if request.GET.get("only") == "qr" and kind == "png":
        data = symbol_png(carries, qr.choices(carries)[0], dots=_whole(request, "dots", qr.LEAST_DOTS, 1, 40), dpi=dpi)
        return HttpResponse(data, content_type="image/png")
    drawing = d.draw(text, width_mm=stock.width_mm, height_mm=stock.height_mm or d.natural_size(text)[1], dpi=dpi)
    if kind == "png":
        return HttpResponse(label_png(drawing, dpi=dpi), content_type="image/png")
    answer = HttpResponse(label_svg(drawing, title=code_words.spell(read.code)), content_type="image/svg+xml")
    answer["Content-Disposition"] = f'attachment; filename="{read.code}.svg"'
    return answer


def run_job(job: Job) -> None:
    """Make a large printing's PDF; its progress is told every 50 labels."""
    run = LabelRun.objects.get(pk=job.given["run"])
    out = BytesIO()
    run_pdf(run=run, out=out, said=lambda done: job_progress(job=job, done=done, said=f"{done} of {run.count} labels drawn."))
    name = f"labels-{run.pk}.pdf"
    job_result(
        job=job,
        result={"file_name": name, "url": reverse("label-run", args=[run.pk])},
        file_name=name,
        file=ContentFile(out.getvalue()),
    )


def _to_pdf(request: HttpRequest, run: LabelRun, at: Any) -> HttpResponse:
    """Lead to the printing; a large one is made by a worker."""
    if run.count <= MOST_IN_A_REQUEST:
        return redirect("label-run", run.pk)
    known = Job.objects.filter(kind=JOB_KIND, given__run=run.pk).first()
    job = known or job_start(
        kind=JOB_KIND,
        title=f"{run.count} labels as PDF",
        given={"run": run.pk},
        person=cast(Person, request.user),
        at=at,
        total=run.count,
    )
    return redirect(job.get_absolute_url())


def _asked(given: QueryDict) -> QueryDict:
    """Return a query with the short forms other pages link with written out: `codes=`, `count_line=`."""
    asked = given.copy()
    if "count_line" in asked:
        asked["line"] = asked.pop("count_line")[-1]
        asked.setdefault("what", "counted")
    if "codes" in asked:
        asked.setdefault("what", "codes")
    return asked


def _defaults(given: QueryDict, company: Company) -> QueryDict:
    asked = _asked(given)
    for name, value in (("what", "new"), ("order", Order.ACROSS), ("dpi", "300")):
        if not asked.get(name):
            asked[name] = value
    if asked["what"] == "blank" and not asked.get("count"):
        asked["count"] = "24"
    return asked


def _chosen(given: QueryDict, form: LabelsForm) -> Any:
    """Return the items asked for, less those that were unticked; in the order of the shelf."""
    items = form.items()
    if "some" in given:
        items = items.filter(code__in=given.getlist("only")[:MOST_AT_ONCE])
    return items.order_by("type__name", "length_mm", "name", "code")


def _stock_and_start(form: LabelsForm, planned: Planned, company: Company) -> tuple[Stock, int]:
    """Return the sheet asked for, or the plain one that suits; and the place asked for, or the next free one of that sheet."""
    stock = form.cleaned_data.get("stock")
    if stock is None:
        first = planned.texts[0].form if planned.texts else d.Form.BOX
        name = {d.Form.FLAG: "flags", d.Form.CASE: "cases-and-cards"}.get(first, "boxes")
        if any(d.natural_size(text)[0] > 92 for text in planned.texts):
            name = "long-flags"
        stock = stock_of(f"{company.paper}-{name}")
    start = form.cleaned_data.get("start")
    return stock, min(start, stock.per_page) if start else _free_place(stock)


def _free_place(stock: Stock) -> int:
    last = LabelRun.objects.filter(sheet=stock.key).first()
    return next_start(stock, start=last.start_at, count=last.count) if last else 1


def _shown(request: HttpRequest, form: LabelsForm, company: Company) -> dict[str, Any]:
    """Work out the preview and every sentence beside it."""
    rows = list(_chosen(request.GET, form).select_related("type")[: MOST_AT_ONCE + 1])
    listed = rows
    if "some" in request.GET:
        listed = list(form.items().order_by("type__name", "length_mm", "name", "code").select_related("type")[:LISTED])
    too_many, rows = len(rows) > MOST_AT_ONCE, rows[:MOST_AT_ONCE]
    found = [item.code for item in rows]
    blanks = ["0" * 8] * ((form.cleaned_data.get("count") or 24) if form.cleaned_data["what"] == "blank" else 0)
    draft = form.wanted(codes=found, start=1, stock="a4-boxes")
    try:
        planned = plan(draft, company=company, blanks=blanks)
        stock, start = _stock_and_start(form, planned, company)
        preview = preview_of(planned, stock, start, draft)
    except qr.PayloadTooLongError as error:
        return {"refused": str(error)}
    warnings = [*preview.warnings, *([trimmed] if (trimmed := off_the_sheet(stock, draft.trim)) and not stock.roll else [])]
    missing = [code for code in form.cleaned_data["codes"] if code not in _known_codes(form.cleaned_data["codes"])]
    asked = _asked(request.GET)
    for name in ("sheet", "start"):
        asked[name] = str({"sheet": form.cleaned_data.get("sheet") or stock.key, "start": start}[name])
    return {
        "planned": planned,
        "listed": listed[:LISTED],
        "picked": set(found),
        "more_listed": max(0, len(listed) - LISTED),
        "too_many": too_many,
        "stock": stock,
        "start": start,
        "used": start - 1,
        "asked": [(name, value) for name, values in asked.lists() for value in values],
        "trial": urlencode(
            {name: asked[name] for name in ("sheet", "wide", "high", "gap", "printer", "dpi") if asked.get(name)}
        ),
        "preview": preview,
        "warnings": list(dict.fromkeys(warnings)),
        "unknown": [code_words.spell(code) for code in missing],
        "print_words": _print_words(planned),
        "own": form.cleaned_data.get("sheet") == OWN,
    }


def _known_codes(asked: list[str]) -> set[str]:
    return set(Label.objects.filter(code__in=asked, item__isnull=False).values_list("code", flat=True)) if asked else set()


def _to_do() -> dict[str, Any]:
    return {
        "new_count": without_label()[: MOST_AT_ONCE + 1].count(),
        "gone_count": label_missing()[: MOST_AT_ONCE + 1].count(),
        "loose_count": blank_and_printed()[: MOST_AT_ONCE + 1].count(),
        "most": MOST_AT_ONCE,
    }


def _print_words(planned: Planned) -> str:
    parts = [_count(planned.flags, "flag")] if planned.flags else []
    if planned.others:
        parts.append(_count(planned.others, "label"))
    return ", ".join(parts)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _token(request: HttpRequest) -> uuid.UUID | None:
    try:
        return uuid.UUID(request.POST.get("token", ""))
    except ValueError:
        return None


def _whole(request: HttpRequest, name: str, fallback: int, low: int, high: int) -> int:
    text = request.GET.get(name, "")
    return min(max(int(text), low), high) if text.isascii() and text.isdigit() and len(text) < 6 else fallback


def _back(request: HttpRequest) -> HttpResponseRedirect:
    """Go back to the labels page as it was asked for; where a form came from is never trusted as an address."""
    kept = {
        name: request.POST[name]
        for name in ("what", "type", "case", "line", "sheet", "printer", "dpi")
        if request.POST.get(name)
    }
    return HttpResponseRedirect(f"{reverse('labels')}?{urlencode(kept)}")
