"""Which things to take from where: the fit items a pull list could be packed from, in the order a person walks."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from django.db.models import Case, F, IntegerField, Value, When, Window
from django.db.models.functions import RowNumber

from inventory.calc.excepts import dead_words
from inventory.models import CountedLine, Item
from shows.calc.shortage import Key, Left, lacking_words
from shows.calc.words import ShowState
from shows.models import PullRow, Show
from shows.progress import PullLine


@dataclass(frozen=True, kw_only=True)
class Pick:
    """One thing to take: an item, or so many of a counted line; `short` has nothing to take it from, and `why` says why."""

    line: PullLine
    place: str
    rank: int
    item: Item | None = None
    counted: CountedLine | None = None
    count: int = 1
    why: str = ""

    @property
    def short(self) -> bool:
        return self.item is None and self.counted is None

    @property
    def dead(self) -> str:
        """Say which channels of the item are dead: nothing on 14."""
        return dead_words(self.item.excepts) if self.item else ""


@dataclass(kw_only=True)
class Stop:
    """One shelf or case on the walk, with what to take there."""

    place: str
    rank: int
    picks: list[Pick] = field(default_factory=list)


LATER = "Not on the shelf today"
NOWHERE = 1_000_000  # after every shelf: what has no place, and what we do not have


def picks_for(show: Show, lines: Iterable[PullLine], day: date) -> list[Pick]:
    """Choose for every line what is still lacking: the named item, else known good things before unproved ones, in the
    order of the walk, leaving what a list names elsewhere that day; then counted ones; the rest is short. Three queries."""
    lines = [line for line in lines if line.lacking]
    keys = {line.type_id: 0 for line in lines}
    for line in lines:
        keys[line.type_id] += line.lacking
    named = {line.item_id for line in lines if line.item_id}
    promised = PullRow.objects.filter(
        show__state=ShowState.PLANNED,
        show__hold_from__lte=show.hold_until,
        show__hold_until__gte=show.hold_from,
        item__isnull=False,
    ).values("item")
    proved = Case(When(tested_on__isnull=False, then=Value(0)), default=Value(1), output_field=IntegerField())
    walk: list[Any] = [proved, F("home__rank").asc(nulls_last=True), F("home__name"), F("name"), F("code")]
    free = (
        Item.objects.fit_to_go(day)
        .filter(type__in=keys)
        .exclude(pk__in=promised)
        .annotate(turn=Window(RowNumber(), partition_by=[F("type"), F("length_mm")], order_by=walk))
        .filter(turn__lte=max(keys.values(), default=0))
        .select_related("type", "home", "in_case__type", "in_case__home")
        .order_by("type", "turn", "length_mm")
    )
    by_key: dict[tuple[int, int], list[Item]] = defaultdict(list)
    for item in free:
        by_key[item.type_id, item.length_mm].append(item)
    own = {i.pk: i for i in Item.objects.filter(pk__in=named).select_related("type", "home", "in_case__type", "in_case__home")}
    counted: dict[tuple[int, int], tuple[CountedLine, int]] = {}
    for counted_line in CountedLine.objects.filter(type__in=keys).described().order_by("length_mm"):
        counted[counted_line.type_id, counted_line.length_mm] = (counted_line, max(0, counted_line.on_shelf))
    picks: list[Pick] = []
    # exact lengths choose first, so that "any length" takes what is left
    for line in sorted(lines, key=lambda line: line.length_mm == 0):
        if line.item_id:
            picks.append(_pick_item(line, own[line.item_id]))
        else:
            picks.extend(_pick_line(line, by_key, counted))
    place = {id(line): n for n, line in enumerate(lines)}
    return sorted(picks, key=lambda p: (p.rank, p.place, place[id(p.line)]))


def _pick_line(
    line: PullLine, by_key: dict[tuple[int, int], list[Item]], counted: dict[tuple[int, int], tuple[CountedLine, int]]
) -> list[Pick]:
    lacking, picks = line.lacking, []
    for key in [k for k in by_key if k[0] == line.type_id and line.length_mm in (0, k[1])]:
        taken, by_key[key] = by_key[key][:lacking], by_key[key][lacking:]
        picks.extend(_pick_item(line, item) for item in taken)
        lacking -= len(taken)
    for key in [k for k in counted if k[0] == line.type_id and line.length_mm in (0, k[1])]:
        counted_line, left = counted[key]
        take = min(left, lacking)
        if take:
            counted[key] = (counted_line, left - take)
            lacking -= take
            home = counted_line.home
            picks.append(
                Pick(
                    line=line,
                    place=home.name if home else "No place of its own",
                    rank=home.rank if home else NOWHERE - 1,
                    counted=counted_line,
                    count=take,
                )
            )
    if lacking:
        picks.append(Pick(line=line, place="Short", rank=NOWHERE, count=lacking))
    return picks


def told_apart(picks: Iterable[Pick], left: Mapping[Key, Left]) -> list[Pick]:
    """Say of each pick with nothing to take why: short on the show's days, or only not on the shelf today."""
    told = []
    for pick in picks:
        if pick.short:
            found = left.get((pick.line.type_id, pick.line.length_mm))
            place = pick.place if found is not None and found.short else LATER
            pick = replace(pick, place=place, why=lacking_words(pick.count, found))
        told.append(pick)
    return told


def _pick_item(line: PullLine, item: Item) -> Pick:
    case = item.in_case
    home = case.home if case and case.home else item.home
    place = f"{case.label}{f', {home.name}' if home else ''}" if case else home.name if home else "No place of its own"
    return Pick(line=line, place=place, rank=home.rank if home else NOWHERE - 1, item=item)


def stops_of(picks: Iterable[Pick]) -> list[Stop]:
    """Group picks by shelf and case in the order of the walk."""
    stops: dict[str, Stop] = {}
    for pick in picks:
        stops.setdefault(pick.place, Stop(place=pick.place, rank=pick.rank)).picks.append(pick)
    return list(stops.values())
