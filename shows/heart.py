"""What a device knows by heart, so that it answers each scan at once without signal, by the rules the shop would use.

The device's judge (static/shows/dock-judge.js) does with these facts what shows/calc/custody.py does with a scan; a test holds
the two together. What speaks against a thing is written here, in the server's own words.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from inventory.calc.kinds import Kind
from inventory.models import CountedLine, Item, Label
from shows.calc.words import Action, ShowState
from shows.crew import show_of
from shows.dock import known_of, show_as_json, snapshot_items
from shows.doubts import doubts_on
from shows.models import PullRow, Show
from shows.progress import PullLine, pulls_progress
from shows.services.advising import Adviser
from shows.services.programme import Programme

MOST_LINES = 2_000


@dataclass(kw_only=True)
class _Supposed:
    """A scan nobody made: what would be said of it now."""

    action: str
    effective_at: datetime
    missing: list[str] = field(default_factory=list)
    wet: bool = False
    ill: bool = False
    symptom: str = ""


def snapshot_of(request: Any, near: list[Show], at: datetime, day: date) -> dict[str, Any]:
    """Return it all: shows with times and lists, items with what would be said of them, aliases, counted lines."""
    only = show_of(request)
    items, whole = snapshot_items(near, day)
    by_pk = {item.pk: item.code for item in items}
    labels = Label.objects.exclude(item=None) if whole else Label.objects.filter(item__in=list(by_pk))
    alias = [
        [code, by_pk[item]]
        for code, item in labels.values_list("code", "item").iterator()
        if item in by_pk and by_pk[item] != code
    ]
    lists, runs = _lists(near), _runs(near, day)
    doubts = doubts_on(runs)
    doubtful = {item.pk: doubt.words for show in doubts.values() for doubt in show for item in doubt.items}
    counted = CountedLine.objects.select_related("type")[:MOST_LINES]
    stays_at = Show.objects.filter(pk__in={i.custody_show for i in items if i.custody_show} - {s.pk for s in near})
    elsewhere = [] if only else [_times(show) for show in stays_at]
    said = _said(items, at)
    return {
        "made_at": at.isoformat(),
        "whole": whole,
        "only": only.pk if only else None,
        "shows": [
            show_as_json(show, at) | _times(show) | lists.get(show.pk, {"listed": False}) | {"run": runs[show.pk]}
            for show in near
        ],
        "elsewhere": elsewhere,
        "items": [
            known.as_json() | _stands(item, by_pk, doubtful) | said.get(item.pk, {})
            for known, item in zip(known_of(items, day), items, strict=True)
        ],
        "aliases": alias,
        "kinds": {one.type_id: one.type.name for one in (*items, *counted)},
        "lines": [_line(one) for one in counted],
    }


def _line(line: CountedLine) -> dict[str, Any]:
    used = line.type.kind == Kind.CONSUMABLE
    return {"id": line.pk, "name": line.label, "type": line.type_id, "mm": line.length_mm, "used": used}


def _times(show: Show) -> dict[str, Any]:
    """Return what the fold needs of a show: when it began, and since when it is over."""
    over = min((at for at in (show.strike, show.closed_at) if at is not None), default=show.strike)
    return {
        "id": show.pk,
        "name": show.name,
        "begins": show.load_in.isoformat(),
        "over": over.isoformat(),
        "cancelled": show.state == ShowState.CANCELLED,
    }


def _stands(item: Item, by_pk: dict[int, str], doubtful: dict[int, str]) -> dict[str, Any]:
    """Return what lists count by, whether it is on a truck (and only by a count that did not add up), declared missing, and
    the code of the case it lies in."""
    answer: dict[str, Any] = {"type": item.type_id, "mm": item.length_mm}
    if item.custody == "truck":
        answer["truck"] = True
    if item.missing_since is not None:
        answer["missing"] = True
    if item.pk in doubtful:
        answer["doubt"] = doubtful[item.pk]
    if item.in_case_id in by_pk:
        answer["inCase"] = by_pk[item.in_case_id]
    return answer


def _lists(shows: Iterable[Show]) -> dict[int, dict[str, Any]]:
    """Return each show's pull list as a device counts by it: named items, and how many of a type and length."""
    lists: dict[int, dict[str, Any]] = {}
    rows = PullRow.objects.filter(show__in=[show.pk for show in shows]).order_by("rank", "pk")
    for show, type_id, mm, count, code in rows.values_list("show", "type", "length_mm", "count", "item__code"):
        held = lists.setdefault(show, {"listed": True, "named": [], "wanted": []})
        if code:
            held["named"].append(code)
        else:
            held["wanted"].append([type_id, mm, count])
    return lists


def _runs(shows: Iterable[Show], day: date) -> dict[int, dict[str, Any]]:
    """Return how far each show's list is, so that a device counts on from there (dock-run.js): what is wanted; what went and
    whether it is back, in the order it went; and the sums of its counted lines."""
    return {pk: _run(lines) for pk, lines in pulls_progress(shows, day=day).items()}


def _run(lines: Sequence[PullLine]) -> dict[str, Any]:
    went = sorted(((one, line.type_id) for line in lines for one in line.items), key=lambda pair: pair[0].turn)
    return {
        "lines": [[line.type_id, line.length_mm, line.item_code, line.wanted, line.name] for line in lines if line.row_ids],
        "went": [[one.code, type_id, one.length_mm, one.state] for one, type_id in went],
        "counted": [[one.line_id, one.net, one.came, one.lost] for line in lines for one in line.counted],
    }


def _said(items: Sequence[Item], at: datetime) -> dict[int, dict[str, str]]:
    """Return what would be said of each thing: against its going out, to mind before it goes, and when it comes back."""
    by_pk = {item.pk: item for item in items}
    out, back = _Supposed(action=Action.OUT, effective_at=at), _Supposed(action=Action.BACK, effective_at=at)
    supposed = [(out, pk) for pk in by_pk]
    adviser = Adviser(items=by_pk, scans=supposed, programme=Programme(), received_at=at)  # type: ignore[arg-type]
    said = {}
    for pk in by_pk:
        words = {
            "against": adviser.against(out, pk),  # type: ignore[arg-type]
            "mind": adviser.mind(out, pk),  # type: ignore[arg-type]
            "home": " ".join(adviser.welcome(back, pk)),  # type: ignore[arg-type]
        }
        said[pk] = {name: word for name, word in words.items() if word}
    return said
