"""What the bench adds to an item's page: its last test, what it measured over the years, when to test again, its repairs;
and to its life: tests, repairs, what called for a test, and the day it is tested by."""

from collections.abc import Iterable
from datetime import datetime
from urllib.parse import urlencode

from django.http import HttpRequest
from django.urls import reverse

from company.calc.roles import Role
from company.clock import today
from company.templatetags.tape import money
from inventory.calc.kinds import Kind, Standing
from inventory.models import Item
from inventory.registries import ItemAction, LifeEntry, Panel
from maintenance.calc.bench import Verdict
from maintenance.calc.charts import charts_of, drawing_of, figure_words, is_ohms, series_of, strain
from maintenance.chances import chances_of, wear_words
from maintenance.drawings import wiring_drawing
from maintenance.item_record import ItemRecord, mended, record_of
from maintenance.models import Repair
from maintenance.sheets import wiring_of_item

SHEETS = ("maintenance/record.css",)
CHART_SHEETS = ("maintenance/vendor/uplot/uPlot.min.css", "maintenance/record.css")
MODULES = ("maintenance/chart.js",)
FEW_FIGURES = 6
CALL_DID = {"wet": "got wet", "dropped": "was dropped", "asked": "asked for"}


def bench(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Say what its last test found and why, what of it is not measured, and what was mended."""
    if not item.type.has_standing:
        return None
    record = record_of(item)
    last, repairs = record.last, record.repairs
    if last is None and not repairs and not record.told:
        return None
    seen = wiring_of_item(item, last.test) if last else None
    picture = (
        wiring_drawing(seen.links, seen.ends, roles=seen.roles, resistors=seen.resistors, sends=seen.sends) if seen else ""
    )
    return Panel(
        title="On the bench",
        template="maintenance/record/_bench.html",
        context={
            "last": last,
            "picture": picture,
            "earlier": len(record.told),
            "url": last.test.get_absolute_url() if last else "",
            "repairs": repairs,
            "repaired": repair_words(record, request.company.currency, cost=_technician(request)),
        },
        styles=("maintenance/wiring.css", *SHEETS) if picture else SHEETS,
    )


def figures(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Draw what it measured over the years with the limit, and set its first figures beside its last."""
    record = record_of(item) if item.type.has_standing else None
    if record is None or not record.counting:
        return None
    readings = record.readings
    charts = charts_of(readings)
    rows = first_and_last(record) if item.type.kind != Kind.LEAD or not charts else []
    if not charts and not rows:
        return None
    marks = [(repair.done_at, repair.did) for repair in record.repairs]
    return Panel(
        title="Measured",
        template="maintenance/record/_measured.html",
        context={
            "charts": [chart_context(chart, at=at, marks=marks, number=0) for chart in charts[:1]],
            "more": len(charts) - 1,
            "rows": rows[:FEW_FIGURES],
            "once": not any(row["first"] for row in rows),
            "rows_left": max(0, len(rows) - FEW_FIGURES),
            "data_url": reverse("item-chart", args=[item.code]),
        },
        styles=CHART_SHEETS if charts else SHEETS,
        modules=MODULES if charts else (),
    )


def again(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Say when to test it again and why, how much of that is still the first guess of its kind, and whether to retire it."""
    if not item.type.has_standing or item.retired_on:
        return None
    record = record_of(item)
    risk = record.risk
    if risk is None or not (risk.test_by or risk.retire) or (item.suspect_since and not risk.retire):
        return None
    left = risk.shows_left
    ahead = chances_of([item], at).get(item.pk)
    return Panel(
        title="Test again",
        template="maintenance/record/_again.html",
        context={
            "risk": risk,
            "retire_why": f"{risk.retire_why[:1].upper()}{risk.retire_why[1:].rstrip('.')}.",
            "why": risk.why if item.suspect_since or not item.test_by else "",  # else it is said above
            "due": bool(item.test_by and item.test_by <= today(at)),
            "suspect": bool(item.suspect_since),
            "shows_left": int(left) if left is not None else None,
            "prior": "" if "first guess" in risk.why else prior_words(risk.prior_share),
            "chance": share_words(risk.chance_now),
            "ahead": ahead,
            "ahead_chance": share_words(ahead.chance) if ahead else "",
            "ahead_range": range_words(ahead.low, ahead.high) if ahead else "",
            "wear": wear_words(item.type, ahead.age if ahead else None),
        },
        styles=SHEETS,
    )


def bench_life(item: Item, at: datetime) -> Iterable[LifeEntry]:
    """Tell its tests, repairs and what called for a test; a failed test tears the strip, the proof after it is a patch."""
    if not item.type.has_standing:
        return
    record = record_of(item)
    proved = [told for told in record.counting if told.verdict in (Verdict.PASS, Verdict.WATCH)]
    for told in record.counting:
        small = told.what if told.verdict != Verdict.PASS else ""
        yield LifeEntry(
            at=told.test.done_at,
            did=told.did,
            small="; ".join(part for part in (small, told.depth, str(told.test.person or "")) if part),
            mark=told.mark,
            bad=told.verdict == Verdict.FAIL,
            patched=mended(record, told),
            url=told.test.get_absolute_url(),
        )
    for repair in record.repairs:
        unproved = not any(told.test.done_at >= repair.done_at for told in proved)
        yield LifeEntry(at=repair.done_at, did="repaired", small=_repair_small(repair), patched=unproved)
    for call in record.calls:
        where = call.at_show[0] if getattr(call, "at_show", None) else ""
        said = f"said {call.person}" if call.person else ""
        answered = "" if call.answered_by_id else "its next test answers this"
        yield LifeEntry(
            at=call.at,
            did=CALL_DID[call.why],
            small="; ".join(part for part in (where, said, answered) if part),
            mark="eye",
        )
    if item.test_by and not item.retired_on and item.test_by >= today(at):
        yield LifeEntry(at=item.test_by, did="test by", mark="hourglass", ahead=True)


def bench_actions(request: HttpRequest, item: Item) -> Iterable[ItemAction]:
    """Offer the test, as the next step when it is suspect or due, and the writing of a repair."""
    if item.retired_on or item.gone_home_on or not item.type.has_standing:
        return
    standing = getattr(item, "standing", "")
    wanted = standing in (Standing.SUSPECT, Standing.TEST_DUE) or bool(record_of(item).open_calls)
    yield ItemAction(name="Test it", url=test_url(item), role=Role.TECHNICIAN, next_step=wanted)
    yield ItemAction(name="Write a repair", url=reverse("repair-add", args=[item.code]), role=Role.TECHNICIAN)


def chart_context(chart, *, at: datetime, marks: list[tuple[datetime, str]], number: int) -> dict:  # type: ignore[no-untyped-def, type-arg]
    """Return what the drawing of one chart needs: places, words for whoever cannot see it, and its key."""
    drawn = drawing_of(chart, until=at, marks=marks)
    key = []
    for place, (series, line) in enumerate(zip(chart.series, drawn.lines, strict=True)):
        key.append({"name": series.name, "last": line.last, "limit": limit_words(series.last), "place": place})
    return {
        "number": number,
        "drawn": drawn,
        "key": key,
        "left_out": chart.left_out,
        "unit": "\u03a9" if is_ohms(chart.unit) else chart.unit,
        "words": chart_words(chart),
    }


def chart_words(chart) -> str:  # type: ignore[no-untyped-def]
    """Say what a chart shows in one sentence: how it began, where it is, what it may be."""
    parts = []
    for series in chart.series:
        first, last = figure_words(series.readings[0].value, series.unit), figure_words(series.last.value, series.unit)
        limit = limit_words(series.last)
        parts.append(f"{series.name}: {first} at first, {last} now{f', {limit}' if limit else ''}")
    tests = max(len(s.readings) for s in chart.series)
    return f"{'; '.join(parts)}. {tests} tests."


def limit_words(figure) -> str:  # type: ignore[no-untyped-def]
    """Say what a figure was held against: at most 0.52 ohm; 45 to 55 V; at least 10 Mohm."""
    low, high = figure.low, figure.high
    if low is not None and high is not None:
        return f"{figure_words(low)} to {figure_words(high, figure.unit)}"
    if high is not None:
        return f"at most {figure_words(high, figure.unit)}"
    return f"at least {figure_words(low, figure.unit)}" if low is not None else ""


def first_and_last(record: ItemRecord) -> list[dict[str, object]]:
    """Return each figure's first and last reading with the change and the limits, what is outside first, then by limit."""
    rows = []
    for series in series_of(record.readings):
        first, last = series.readings[0], series.last
        rows.append(
            {
                "name": series.name,
                "first": figure_words(first.value, first.unit) if len(series.readings) > 1 else "",
                "first_at": first.at,
                "last": figure_words(last.value, last.unit),
                "last_at": last.at,
                "changed": change_words(first.value, last.value, last.unit) if len(series.readings) > 1 else "",
                "limit": limit_words(last),
                "bad": last.within is False,
                "strain": strain(last),
            }
        )
    return sorted(rows, key=lambda row: (not row["bad"], -row["strain"]))  # type: ignore[operator]


def change_words(first: float, last: float, unit: str) -> str:
    """Say how far a figure moved: as a share of what it was, +12 %; what is a ratio already, in its own unit: −0.4 dB."""
    if unit.startswith("dB") or unit == "%":
        moved, words = round(last - first, 1), f"{last - first:+.1f}\u2009{'dB' if unit != '%' else 'points'}"
    elif first:
        moved, words = round(last / first - 1, 2), f"{last / first - 1:+.0%}"
    else:
        return "the same" if last == first else ""
    return words.replace("-", "\u2212") if moved else "the same"


def repair_words(record: ItemRecord, currency: str, *, cost: bool) -> str:
    """Add up what was mended: 3 repairs, 45 minutes, 12.40 EUR. Empty without one."""
    count, minutes, cents = record.repair_sums()
    if not count:
        return ""
    parts = [f"{count} repair{'s' if count != 1 else ''}"]
    if minutes:
        parts.append(f"{minutes} minute{'s' if minutes != 1 else ''}")
    if cost and cents:
        parts.append(money(cents, currency))
    return ", ".join(parts)


def prior_words(share: float) -> str:
    """Say how much of a date is still the first guess of the kind, and how much its own kind's record."""
    if share >= 0.95:
        return "All of this is still the first guess for its kind: its tests will tell."
    if share >= 0.5:
        return f"Still mostly the first guess for its kind ({share:.0%}); the rest is what its own record says."
    if share >= 0.05:
        return f"{share:.0%} of this is still the first guess for its kind; the rest is what the record says."
    return "This rests on the record; the first guess no longer weighs in it."


def share_words(chance: float) -> str:
    """Write a chance as whole words can: under 1 %, 3 %, 41 %."""
    if chance <= 0:
        return ""
    return "under 1\u202f%" if chance < 0.01 else f"{chance * 100:.0f}\u202f%"


def range_words(low: float, high: float) -> str:
    """Write a range of chances: 1 to 9 %."""
    if high < 0.01:
        return share_words(high)
    return f"{'under 1' if low < 0.01 else f'{100 * low:.0f}'} to {share_words(high)}"


def test_url(item: Item) -> str:
    """Return where a test of an item begins: the bench, with it in hand."""
    return f"{reverse('sittings')}?{urlencode({'scan': item.code})}"


def _repair_small(repair: Repair) -> str:
    minutes = f"{repair.minutes} min" if repair.minutes else ""
    by = str(repair.person) if repair.person else ""
    as_new = "as new" if repair.as_new else ""
    return "; ".join(p for p in (repair.told, repair.parts, as_new, minutes, by) if p)


def _technician(request: HttpRequest) -> bool:
    return request.user.is_authenticated and request.user.is_at_least(Role.TECHNICIAN)


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    from inventory.registries import ITEM_ACTIONS, ITEM_LIFE, ITEM_PANELS

    ITEM_PANELS.add("bench", bench, rank=12)
    ITEM_PANELS.add("measured", figures, rank=14)
    ITEM_PANELS.add("test again", again, rank=16)
    ITEM_LIFE.add("bench", bench_life, rank=45)
    ITEM_ACTIONS.add("bench", bench_actions, rank=25)
