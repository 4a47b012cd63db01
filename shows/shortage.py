"""What is short for coming shows: pull lists that overlap, against what we own. Five queries however many shows and rows."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date

from django.db.models import Count, F, Q, QuerySet, Sum

from inventory.calc.kinds import Standing
from inventory.models import CountMove, Item
from shows.calc.shortage import Demand, Key, Left, Stock, shortages
from shows.calc.words import ShowState
from shows.models import PullRow, Show
from shows.progress import PullLine

UNFIT = frozenset({Standing.SUSPECT.value, Standing.TEST_DUE.value})


def shortages_of(shows: Iterable[Show]) -> dict[int, dict[Key, Left]]:
    """Return what is left on the worst day for each key that each show wants, by show key."""
    shows = [show for show in shows if show.state == ShowState.PLANNED]
    if not shows:
        return {}
    first, last = min(s.hold_from for s in shows), max(s.hold_until for s in shows)
    mine = {s.pk: s for s in shows}
    demands: list[Demand] = []
    wanted: dict[int, dict[Key, int]] = {pk: defaultdict(int) for pk in mine}
    # the shows are chosen first, by their days: asked of the rows at once, every pull list there ever was would be read
    rivals = Q(hold_from__lte=last, hold_until__gte=first, state=ShowState.PLANNED)
    rows = (
        PullRow.objects.filter(show__in=Show.objects.filter(Q(pk__in=mine) | rivals).order_by().values("pk"))
        .values("show", "type", "length_mm", name=F("show__name"), start=F("show__hold_from"), until=F("show__hold_until"))
        .annotate(total=Sum("count"))
        .order_by("show", "type", "length_mm")
    )
    for row in rows:
        key = (row["type"], row["length_mm"])
        if row["show"] in wanted:
            wanted[row["show"]][key] += row["total"]
        demands.append(
            Demand(show=row["show"], name=row["name"], key=key, count=row["total"], first=row["start"], last=row["until"])
        )
    types = {key[0] for keys in wanted.values() for key in keys}
    stock = stock_of(types, first)
    return {
        pk: shortages(
            wanted=wanted[pk],
            first=show.hold_from,
            last=show.hold_until,
            stock=stock,
            others=[d for d in demands if d.show != pk],
        )
        for pk, show in mine.items()
    }


def unmet(left: Mapping[Key, Left], lines: Iterable[PullLine], *, unfit_too: bool = False) -> dict[Key, Left]:
    """Leave out what is with the show already in the number it wants: however promised, it is not short there.

    A line that names an item is told by that item's own standing; `unfit_too`: what is named but unfit is lacking as well.
    """
    lacking: dict[Key, int] = defaultdict(int)
    for line in lines:
        named = line.item_id and not (unfit_too and line.item_standing in UNFIT)
        if not named and not line.is_extra:
            lacking[line.type_id, line.length_mm] += line.lacking
    return {key: worst for key, worst in left.items() if lacking.get(key, 0)}


def stock_of(types: Iterable[int], day: date) -> dict[Key, Stock]:
    """Return what we own of some types by length, labelled and counted, and how much of it is unfit on a day.

    Not owned for a show: retired, borrowed and gone home or to be given back before, missing, or lent beyond the day.
    Unfit: suspect, past its test-by date, at the repairer, or counted bad.
    """
    types = list(types)
    unfit = _unfit(day)
    items = (
        _ours(types, day)
        .values("type", "length_mm", "custody_show")
        .annotate(owned=Count("pk"), unfit=Count("pk", filter=unfit))
    )
    owned: dict[Key, list[int]] = defaultdict(lambda: [0, 0])
    unfit_at: dict[Key, dict[int, int]] = defaultdict(dict)
    for row in items:
        if row["custody_show"] and row["unfit"]:
            unfit_at[row["type"], row["length_mm"]][row["custody_show"]] = row["unfit"]
        owned[row["type"], row["length_mm"]][0] += row["owned"]
        owned[row["type"], row["length_mm"]][1] += row["unfit"]
    counted = (
        CountMove.objects.filter(line__type__in=types)
        .order_by()
        .values(type=F("line__type"), length_mm=F("line__length_mm"))
        .annotate(total=Sum("delta", filter=Q(show=None)), bad=Sum("delta", filter=Q(condition="bad")))
    )
    for one in counted:
        owned[one["type"], one["length_mm"]][0] += one["total"] or 0
        owned[one["type"], one["length_mm"]][1] += one["bad"] or 0
    return {
        key: Stock(owned=max(0, n), unfit=max(0, min(n, bad)), unfit_at=unfit_at.get(key, {}))
        for key, (n, bad) in owned.items()
    }


def _unfit(day: date) -> Q:
    return Q(suspect_since__isnull=False) | Q(test_by__lte=day) | Q(at__sort="repairer")


def _ours(types: Iterable[int], day: date) -> QuerySet[Item]:
    lent = ~Q(lent_to="") & (Q(lent_home_by=None) | Q(lent_home_by__gt=day))
    owned = Item.objects.owned().filter(type__in=types, missing_since=None)
    return owned.exclude(lent).exclude(give_back_by__lt=day).order_by()


def lapses_of(types: Iterable[int], first: date, last: date) -> list[tuple[Key, date, int]]:
    """Return how many of a type and length that are fit on the first day pass their test-by date on a day after it."""
    rows = _ours(list(types), first).exclude(_unfit(first)).filter(test_by__gt=first, test_by__lte=last)
    counted = rows.values_list("type", "length_mm", "test_by").annotate(count=Count("pk"))
    return [((type_, mm), day, count) for type_, mm, day, count in counted if day is not None]


def item_rivals(show: Show) -> dict[int | None, list[Show]]:
    """Return the other shows that ask for the same particular items on overlapping days, by item key."""
    rivals: dict[int | None, list[Show]] = defaultdict(list)
    rows = (
        PullRow.objects.filter(
            item__in=PullRow.objects.filter(show=show, item__isnull=False).values("item"),
            show__in=Show.objects.holding_between(show.hold_from, show.hold_until).filter(state=ShowState.PLANNED),
        )
        .exclude(show=show)
        .select_related("show")
        .order_by("show__load_in")
    )
    for row in rows:
        rivals[row.item_id].append(row.show)
    return rivals


def overlapping(show: Show) -> list[Show]:
    """Return the other planned shows that hold gear on any of this show's days."""
    return list(
        Show.objects.holding_between(show.hold_from, show.hold_until)
        .filter(state=ShowState.PLANNED)
        .exclude(pk=show.pk)
        .select_related("venue")[:20]
    )
