"""How far a show is packed, and what of it is home again: pull rows against checkouts and the ledger of counted lines.

Three queries however many shows, rows and items: pull rows, checkouts, sums of counted moves.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, cast

from django.db.models import F, IntegerField, Q, Sum, Value
from django.db.models.functions import Coalesce

from company.templatetags.tape import metres
from inventory.calc.excepts import dead_words
from inventory.models import CountMove, Item
from inventory.querysets import standing_expression
from shows.calc.words import Critical, Ended
from shows.models import Checkout, PullRow, Show

MOST_PART_GOOD = 100
Key = tuple[int, int]  # a gear type's key and a length in millimetres


@dataclass(frozen=True, kw_only=True)
class PulledItem:
    """One item that went out to the show; `state` is out, truck or back, `turn` its place in the order they first went."""

    item_id: int
    code: str
    label: str
    standing: str
    state: str
    length_mm: int
    turn: int
    opened_at: datetime | None = None
    closed_at: datetime | None = None
    case_id: int | None = None
    case: str = ""
    missing: bool = False
    excepts: str = ""

    @property
    def dead(self) -> str:
        """Say which of its channels are dead: nothing on 14."""
        return dead_words(self.excepts)


@dataclass(frozen=True, kw_only=True)
class CountedOut:
    """So many of a counted line that are out to the show. `net` went less what came, below 0 where more came than went;
    `came` of them came back, `lost` were counted off or used up."""

    line_id: int
    name: str
    out: int
    net: int
    came: int
    lost: int


@dataclass(kw_only=True)
class PullLine:
    """One line of the pull list: a type and length, or one particular item (`item_id`); `wanted` 0 is an extra.

    `out` is with the show now (of it `truck` on the truck, `missing` declared missing), `back` has left it again;
    `lost` was counted off.
    """

    type_id: int
    type_name: str
    kind: str
    length_mm: int
    wanted: int
    item_id: int | None = None
    item_code: str = ""
    item_name: str = ""
    item_standing: str = ""
    item_excepts: str = ""
    row_ids: list[int] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)
    critical: str = Critical.NORMAL.value
    items: list[PulledItem] = field(default_factory=list)
    counted_out: int = 0
    counted_back: int = 0
    counted_lost: int = 0
    counted: list[CountedOut] = field(default_factory=list)

    @property
    def out(self) -> int:
        """Return how many are with the show now, labelled and counted."""
        return sum(i.state in {"out", "truck"} for i in self.items) + self.counted_out

    @property
    def scanned(self) -> int:
        return self.out

    @property
    def truck(self) -> int:
        return sum(i.state == "truck" and not i.missing for i in self.items)

    @property
    def missing(self) -> int:
        """Return how many of what is out were declared missing."""
        return sum(i.state != "back" and i.missing for i in self.items)

    @property
    def back(self) -> int:
        return sum(i.state == "back" for i in self.items) + self.counted_back

    @property
    def went(self) -> int:
        """Return how many ever went: what is out, what came back and what was counted off."""
        return self.out + self.back + self.counted_lost

    @property
    def lacking(self) -> int:
        return max(0, self.wanted - self.out)

    @property
    def dead(self) -> str:
        """Say which channels of the named item are dead: nothing on 14."""
        return dead_words(self.item_excepts)

    @property
    def part_good(self) -> list[PulledItem]:
        """Return the items out with the show that have dead channels, the named one left to its own words."""
        return [i for i in self.items if i.excepts and i.state != "back" and i.item_id != self.item_id]

    @property
    def over(self) -> int:
        return max(0, self.out - self.wanted)

    @property
    def is_extra(self) -> bool:
        return self.wanted == 0

    @property
    def name(self) -> str:
        """Return what a person calls it: Microphone lead 10 m; Active direct box A."""
        return " ".join(part for part in (self.type_name, self.item_name, metres(self.length_mm)) if part)

    @property
    def in_cases(self) -> list[str]:
        """Return the cases its items are packed in, each once."""
        return sorted({i.case for i in self.items if i.case})


@dataclass(frozen=True, kw_only=True)
class Totals:
    """Sums over a pull list. `packed` counts each line up to what it wants, so that an extra hides no gap."""

    wanted: int
    packed: int
    on_truck: int
    went: int
    back: int
    still_out: int
    extra: int
    missing: int

    @property
    def lacking(self) -> int:
        return self.wanted - self.packed


def totals_of(lines: Iterable[PullLine]) -> Totals:
    """Add up a pull list's progress."""
    lines = list(lines)
    return Totals(
        wanted=sum(line.wanted for line in lines),
        packed=sum(min(line.wanted, line.out) for line in lines),
        on_truck=sum(line.truck for line in lines),
        went=sum(line.went for line in lines),
        back=sum(line.back for line in lines),
        still_out=sum(line.out for line in lines),
        extra=sum(line.over for line in lines),
        missing=sum(line.missing for line in lines),
    )


def pull_progress(show: Show, *, day: date | None = None) -> list[PullLine]:
    """Return a show's pull list with its progress, extras last; `day` is the day standings are asked for."""
    return pulls_progress([show], day=day)[show.pk]


def pulls_progress(shows: Iterable[Show], *, day: date | None = None) -> dict[int, list[PullLine]]:
    """Return the progress of many shows in three queries, by show key."""
    wanted = {show.pk: show for show in shows}
    day = day or min((show.hold_from for show in wanted.values()), default=date.min)
    lines: dict[int, list[PullLine]] = {pk: [] for pk in wanted}
    by_item: dict[tuple[int, int], PullLine] = {}
    by_key: dict[tuple[int, Key], PullLine] = {}
    rows = PullRow.objects.filter(show__in=wanted).select_related("type", "item__in_case__type")
    for row in rows.annotate(item_standing=standing_expression(day, "item__")).order_by("show", "rank", "pk"):
        line = _line_of(row, lines[row.show_id], by_item, by_key)
        line.row_ids.append(row.pk)
        line.lines.extend([row.line] if row.line else [])
        line.reasons.extend([row.reason] if row.reason and row.reason not in line.reasons else [])
        if row.critical == Critical.CRITICAL or len(line.row_ids) == 1:
            line.critical = row.critical
    _place_counted(wanted, lines, by_key)
    _place_items(wanted, lines, by_item, by_key, day)
    return lines


def _line_of(
    row: PullRow, lines: list[PullLine], by_item: dict[tuple[int, int], PullLine], by_key: dict[tuple[int, Key], PullLine]
) -> PullLine:
    """Find the line a pull row adds to, or start it: rows of a type and length share one, an item has its own."""
    key = (row.show_id, (row.type_id, row.length_mm))
    if row.item is None and key in by_key:
        by_key[key].wanted += row.count
        return by_key[key]
    line = PullLine(
        type_id=row.type_id,
        type_name=row.type.name,
        kind=row.type.kind,
        length_mm=row.length_mm,
        wanted=row.count,
        critical=row.critical,
    )
    if row.item is None:
        by_key[key] = line
    else:
        line.item_id, line.item_code, line.item_name = row.item_id, row.item.code, row.item.name
        line.item_standing, line.item_excepts = row.item_standing, row.item.excepts
        line.length_mm = row.item.length_mm
        by_item[row.show_id, row.item.pk] = line
    lines.append(line)
    return line


def _place_counted(wanted: dict[int, Show], lines: dict[int, list[PullLine]], by_key: dict[tuple[int, Key], PullLine]) -> None:
    """Add the counted lines' ledger. An undoing row carries what it undid in its note, and takes away there; used up
    counts as lost: neither comes home."""
    why, undone = CountMove.Why, Q(why=CountMove.Why.UNDONE)
    gone = [why.LOST, why.USED_UP]
    lost = Q(why__in=gone) | (undone & Q(note__in=gone))
    came = (
        Q(why=why.BACK)
        | (undone & Q(note=why.BACK))
        | Q(why=why.STRAIGHT_ON, delta__gt=0)
        | (undone & Q(note=why.STRAIGHT_ON, delta__lt=0))
    )
    rows = (
        CountMove.objects.filter(show__in=wanted)
        .values("show", "line", length_mm=F("line__length_mm"), type_id=F("line__type"), type_name=F("line__type__name"))
        .annotate(
            kind=F("line__type__kind"),
            net=-Coalesce(Sum("delta"), Value(0), output_field=IntegerField()),
            came=Coalesce(Sum("delta", filter=came), Value(0), output_field=IntegerField()),
            lost=Coalesce(Sum("delta", filter=lost), Value(0), output_field=IntegerField()),
        )
        .order_by("show", "type_name", "length_mm")
    )
    for row in rows:
        if not (row["net"] or row["came"] or row["lost"]):
            continue
        show = cast(int, row["show"])
        exact = by_key.get((show, (row["type_id"], row["length_mm"])))
        line = exact or by_key.get((show, (row["type_id"], 0)))
        if line is None:
            line = _extra(row["type_id"], row["type_name"], row["kind"], row["length_mm"])
            by_key[show, (row["type_id"], row["length_mm"])] = line
            lines[show].append(line)
        line.counted_out += max(0, row["net"])
        line.counted_back += row["came"]
        line.counted_lost += row["lost"]
        name = " ".join(part for part in (row["type_name"], metres(row["length_mm"])) if part)
        sums = {"net": row["net"], "came": row["came"], "lost": row["lost"]}
        line.counted.append(CountedOut(line_id=row["line"], name=name, out=max(0, row["net"]), **sums))


def _place_items(
    wanted: dict[int, Show],
    lines: dict[int, list[PullLine]],
    by_item: dict[tuple[int, int], PullLine],
    by_key: dict[tuple[int, Key], PullLine],
    day: date,
) -> None:
    """Give each item that went to its own line, else to its type and length, else to its type at any length, else to the
    extras. What moved to another show before this one began never went."""
    latest: dict[tuple[int, int], Any] = {}
    found = Checkout.objects.filter(show__in=wanted).select_related("item__type", "item__in_case__type")
    for checkout in found.annotate(standing=standing_expression(day, "item__")).order_by("opened_at", "pk"):
        latest[checkout.show_id, checkout.item_id] = checkout
    loose: dict[int, list[tuple[Any, PulledItem]]] = defaultdict(list)
    for turn, ((show, item_id), checkout) in enumerate(latest.items()):
        if checkout.ended == Ended.MOVED:
            continue
        pulled = _pulled(checkout, turn)
        own = by_item.get((show, item_id))
        if own is not None:
            own.items.append(pulled)
        else:
            loose[show].append((checkout, pulled))
    for show, pairs in loose.items():
        # what is out fills the lines first, so that a thing already back never takes the place of one that is there
        for checkout, pulled in sorted(pairs, key=lambda pair: pair[1].state == "back"):
            item = checkout.item
            exact, any_length = by_key.get((show, (item.type_id, item.length_mm))), by_key.get((show, (item.type_id, 0)))
            line = exact
            if any_length is not None and (exact is None or exact.went >= exact.wanted):
                line = any_length if exact is None or any_length.went < any_length.wanted else exact
            if line is None:
                line = _extra(item.type_id, item.type.name, item.type.kind, item.length_mm)
                by_key[show, (item.type_id, item.length_mm)] = line
                lines[show].append(line)
            line.items.append(pulled)


def _pulled(checkout: Any, turn: int) -> PulledItem:
    item = checkout.item
    on_truck = "truck" if checkout.truck_at is not None else "out"
    return PulledItem(
        item_id=item.pk,
        code=item.code,
        label=item.label,
        standing=checkout.standing,
        length_mm=item.length_mm,
        turn=turn,
        state="back" if checkout.closed_at is not None else on_truck,
        opened_at=checkout.opened_at,
        closed_at=checkout.closed_at,
        case_id=item.in_case_id,
        case=item.in_case.label if item.in_case else "",
        missing=item.missing_since is not None,
        excepts=item.excepts,
    )


def _extra(type_id: int, type_name: str, kind: str, length_mm: int) -> PullLine:
    return PullLine(type_id=type_id, type_name=type_name, kind=kind, length_mm=length_mm, wanted=0)


@dataclass(frozen=True, kw_only=True)
class PartGood:
    """A part-good thing on our shelves that a line could be filled from."""

    label: str
    excepts: str
    dead: str


def part_good_for(lines: Iterable[PullLine]) -> dict[Key, list[PartGood]]:
    """Return what lines that still lack things could be filled from and is good only in part, by type and length; one query."""
    wanted = {(line.type_id, line.length_mm) for line in lines if not line.item_id and line.lacking}
    if not wanted:
        return {}
    partly = Item.objects.in_the_shop().filter(~Q(excepts=""), type__in={key[0] for key in wanted}, suspect_since=None)
    found: dict[Key, list[PartGood]] = defaultdict(list)
    for item in partly.select_related("type").order_by("name", "code")[:MOST_PART_GOOD]:
        one = PartGood(label=item.label, excepts=item.excepts, dead=dead_words(item.excepts))
        for key in {(item.type_id, item.length_mm), (item.type_id, 0)} & wanted:
            found[key].append(one)
    return found
