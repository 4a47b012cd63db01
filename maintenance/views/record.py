"""What the bench knows of one item, on pages of its own: every test it had, its charts, and the same as CSV."""

import csv
import io
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils.timezone import localtime
from django.views.decorators.http import require_safe

from company.clock import now, today
from company.templatetags.tape import code as spelled
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.calc import codes
from inventory.calc.typed import guard, tidy
from inventory.models import Item
from inventory.search import item_of_code
from maintenance.calc.bench import VERDICT_WORDS, Verdict
from maintenance.calc.charts import Chart, charts_of, drawing_of, figure_words, is_ohms
from maintenance.item_parts import chart_context, first_and_last
from maintenance.item_record import Told, record_of

PAGE = 50
MOST_CHARTS = 6
UNFOLDED = 2  # the newest are shown whole; of older ones only what did not pass


def item_or_404(code: str) -> Item:
    """Return the item a code leads to, described for today."""
    read = codes.parse(code)
    found = item_of_code(read.code) if read.read is codes.Read.CODE else None
    if found is None:
        raise Http404("The record knows no such thing.")
    return Item.objects.described(today()).get(pk=found.pk)


@require_safe
def item_tests(request: HttpRequest, code: str) -> HttpResponse:
    """Show every test an item had, the newest first; one that was taken back or corrected is struck, with why."""
    item, at = item_or_404(code), now()
    record = record_of(item)
    words, only = request.GET.get("q", "")[:200], request.GET.get("only", "")
    told = [each for each in record.told if _fits(each, words, only)]
    page = Paginator(told, PAGE).get_page(request.GET.get("page"))
    charts = charts_of(record.readings)
    marks = [(repair.done_at, repair.did) for repair in record.repairs]
    context = {
        "section": "Bench",
        "item": item,
        "page": page,
        "rows": _rows(list(page), fold=not words and only not in set(Verdict)),
        "any": bool(record.told),
        "counting": len(record.counting),
        "words": words,
        "only": only if only in set(Verdict) else "",
        "verdicts": [(v.value, VERDICT_WORDS[v]) for v in Verdict],
        "charts": [
            chart_context(chart, at=at, marks=marks, number=number) for number, chart in enumerate(charts[:MOST_CHARTS])
        ],
        "charts_left": max(0, len(charts) - MOST_CHARTS),
        "figures": first_and_last(record),
        "repairs": record.repairs,
    }
    return render(request, "maintenance/record/tests.html", context)


def _fits(told: Told, words: str, only: str) -> bool:
    if only in set(Verdict) and told.test.verdict != only:
        return False
    said = " ".join(
        str(part)
        for part in (
            *(told.what, told.how, told.said, told.procedure, told.test.note, told.struck, day_words(told.test.done_at)),
            *(finding.get("text", "") for finding in told.test.findings),
            *told.test.reasons,
        )
    ).casefold()
    return all(word in said for word in words.casefold().split())


def _rows(page: list[Told], *, fold: bool) -> list[dict[str, Any]]:
    """Return the tests of a page for its list: what one says word for word as the test above it is said once."""
    rows, above = [], set[str]()
    for place, told in enumerate(page):
        row = _row(told)
        row["reasons"] = [reason for reason in told.reasons if reason not in above]
        row["as_above"] = len(row["reasons"]) < len(told.reasons)
        row["folds"] = fold and place >= UNFOLDED and told.counts and told.verdict == Verdict.PASS
        above = set(told.reasons)
        rows.append(row)
    return rows


def _row(told: Told) -> dict[str, Any]:
    return {
        "told": told,
        "url": told.test.get_absolute_url(),
        "figures": [
            {"name": f.name, "value": figure_words(f.value, f.unit), "bad": f.within is False} for f in told.figures[:24]
        ],
        "figures_left": max(0, len(told.figures) - 24),
    }


@require_safe
def item_chart(request: HttpRequest, code: str) -> JsonResponse:
    """Answer an item's charts as numbers: instants in seconds, values a series, what each was held against, repairs."""
    item = item_or_404(code)
    record, at = record_of(item), now()
    marks = [(repair.done_at, repair.did) for repair in record.repairs]
    return JsonResponse({"charts": [_chart_json(chart, at, marks) for chart in charts_of(record.readings)[:MOST_CHARTS]]})


def _chart_json(chart: Chart, at: datetime, marks: list[tuple[datetime, str]]) -> dict[str, Any]:
    drawn = drawing_of(chart, until=at, marks=marks)
    times = sorted({reading.at for series in chart.series for reading in series.readings})
    longest = {r.at: r for r in max(chart.series, key=lambda s: len(s.readings)).readings}
    series = []
    for each, line in zip(chart.series, drawn.lines, strict=True):
        found = {r.at: (r, dot) for r, dot in zip(each.readings, line.dots, strict=True)}
        series.append(
            {
                "name": each.name,
                "values": [found[t][0].value if t in found else None for t in times],
                "words": [figure_words(found[t][0].value, each.unit) if t in found else None for t in times],
                "shapes": [found[t][1].shape if t in found else "" for t in times],
            }
        )
    span = max((max(at, times[-1]) - times[0]).total_seconds(), 86_400.0)
    return {
        "unit": chart.unit,
        "letter": "Ω" if is_ohms(chart.unit) else chart.unit,
        "foot": drawn.foot,
        "top": drawn.top,
        "rungs": [tick.value for tick in drawn.up],
        "rung_words": [tick.words for tick in drawn.up],
        "dates": [tick.value for tick in drawn.across],
        "date_words": [tick.words for tick in drawn.across],
        "begin": times[0].timestamp() - 0.03 * span,
        "end": times[0].timestamp() + 1.03 * span,
        "times": [t.timestamp() for t in times],
        "days": [moment(t) for t in times],
        "series": series,
        "high": [longest[t].high if t in longest else None for t in times],
        "low": [longest[t].low if t in longest else None for t in times],
        "watch": [longest[t].watch if t in longest else None for t in times],
        "marks": [[when.timestamp(), words] for when, words in marks if times[0] <= when <= max(at, times[-1])],
    }


@require_safe
def item_tests_csv(request: HttpRequest, code: str) -> StreamingHttpResponse:
    """Hand over an item's tests as CSV: a row a figure, and one row for a test without figures."""
    item = item_or_404(code)
    head = ["code", "thing", "when", "who", "procedure", "depth", "instrument", "calibrated", "verdict", "why", "counts"]
    head += ["figure", "value", "unit", "at least", "at most", "within", "note"]
    return csv_answer(f"tests-{item.code}.csv", head, _test_rows(item, record_of(item).told))


def _test_rows(item: Item, told: Iterable[Told]) -> Iterator[list[Any]]:
    for each in told:
        test = each.test
        begin: list[Any] = [spelled(item.code), item.label, localtime(test.done_at).isoformat(timespec="minutes"), test.person]
        begin += [each.procedure, each.depth, test.instrument_name, test.calibrated_on]
        begin += [VERDICT_WORDS[each.verdict], each.what, "yes" if each.counts else each.struck or "no"]
        figures = [[f.name, _digits(f.value), f.unit, _digits(f.low), _digits(f.high), _yes(f.within)] for f in each.figures]
        for figure in figures or [[""] * 6]:
            yield [*begin, *figure, test.note]


def _digits(value: float | None) -> float | None:
    """Round to six meaning digits: every digit an instrument shows, none that only arithmetic made."""
    return None if value is None else float(f"{value:.6g}")


def _yes(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def csv_answer(name: str, head: list[str], rows: Iterable[Iterable[Any]]) -> StreamingHttpResponse:
    """Return rows as a CSV file, written as it is sent, in UTF-8 with the mark spreadsheets ask for; formulas are guarded."""

    def lines() -> Iterator[str]:
        yield "\ufeff"
        yield _line(head)
        for row in rows:
            yield _line(row)

    answer = StreamingHttpResponse(lines(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["Cache-Control"] = "private, no-store"
    return answer


def _line(cells: Iterable[Any]) -> str:
    line = io.StringIO()
    csv.writer(line).writerow(["" if c is None else c if isinstance(c, int | float) else guard(tidy(str(c))) for c in cells])
    return line.getvalue()
