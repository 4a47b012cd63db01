"""What a plan asks to be pulled: mic/DI of our lines, what picks wireless up, stands, boxes, desk, loads, leads, spares; each
with its reason and with a key that stays the same when the list is made again."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from typing import Any

from inventory.calc.kinds import Kind
from inventory.models import GearType, GoesWith, Item
from shows.calc.lines import Family, LineWay, PlaceSort, Whose
from shows.calc.words import Critical, Feed
from shows.models import Promised, Show, StageLoad
from shows.planning.advice import LineAdvice, ShowAdvice, advice_of

REASON_MOST, LINE_MOST = 200, 40
WIRELESS = ("tx-handheld", "rx-single")  # what a wireless line takes where nobody said which
IN_EAR = ("tx-in-ear", "rx-in-ear")
# what a mic/DI wants beside it that the plan works out itself: its stand, and the leads of its run
PLANNED_APART = frozenset({Kind.LEAD, Kind.TRANSMITTER, Kind.RECEIVER})
ON_MAINS = frozenset({Kind.DESK, Kind.RECEIVER, Kind.LOUDSPEAKER, Kind.AMPLIFIER})


@dataclass(frozen=True, kw_only=True)
class Planned:
    """One row a plan asks for. `key` knows it again; `item`: this very thing was promised to the line."""

    key: str
    type: GearType
    length_mm: int = 0
    count: int = 1
    item: Item | None = None
    reason: str = ""
    feed: str = ""
    critical: str = Critical.NORMAL.value
    line: str = ""

    @property
    def name(self) -> str:
        """Return what is asked for: the item's name, or the type's."""
        return self.item.label if self.item else self.type.name


def rows_planned(show: Show, *, advice: ShowAdvice | None = None) -> list[Planned]:
    """Return the rows a show's plan asks for, in the order of its lines; a constant number of queries."""
    advice = advice or advice_of(show)
    promised = {
        one.line_id: one.item
        for one in Promised.objects.filter(line__show=show).select_related("item__type")
        if one.item.retired_on is None
    }
    house = _Making(advice=advice, promised=promised, types={t.key: t for t in GearType.objects.exclude(key=None)})
    rows = [*house.pickups(), *house.in_ears(), *house.boxes(), *house.desk(), *house.loads(show), *house.stands()]
    rows += house.beside(rows)
    rows += _leads(show)
    return [*rows, *_spares(show)]


@dataclass(frozen=True, kw_only=True)
class _Making:
    """What all rows of one making share."""

    advice: ShowAdvice
    promised: dict[int, Item]
    types: dict[str | None, GearType]

    def pickups(self) -> list[Planned]:
        rows: list[Planned] = []
        for one in self.advice.lines:
            if one.line.whose != Whose.OURS or one.shares is not None:
                continue
            if is_wireless(one):
                rows += self._wireless(one)
            elif one.pickup is not None and one.pickup.kind != Kind.LEAD:
                rows.append(self._pickup(one))
        return rows

    def _pickup(self, one: LineAdvice) -> Planned:
        pair = [one, *(other for other in self.advice.lines if other.shares is not None and other.shares.pk == one.line.pk)]
        assert one.pickup is not None  # noqa: S101 (asked before)
        item = self.promised.get(one.line.pk)
        critical = Critical.CRITICAL if any(o.line.critical == Critical.CRITICAL for o in pair) else Critical(one.line.critical)
        return Planned(
            key=f"line:{one.line.pk}:pickup",
            type=one.pickup,
            item=item if item is not None and item.type_id == one.pickup.pk else None,
            reason=_why(one)[:REASON_MOST],
            feed=one.feed,
            critical=critical.value,
            line=lines_said([o.line.called for o in pair]),
        )

    def _wireless(self, one: LineAdvice) -> list[Planned]:
        """Return the transmitter and the receiver of a wireless line; what is promised to it takes its place."""
        line, item = one.line, self.promised.get(one.line.pk)
        chosen = one.pickup if one.pickup is not None and one.pickup.kind == Kind.TRANSMITTER else None
        transmitter, receiver = chosen or self.types.get(WIRELESS[0]), self.types.get(WIRELESS[1])
        if item is not None and item.type.kind == Kind.TRANSMITTER and chosen in {None, item.type}:
            transmitter = item.type
        rows = []
        for part, type_, feed in (("pickup", transmitter, Feed.CELLS), ("receiver", receiver, Feed.MAINS)):
            if type_ is None:
                continue
            rows.append(
                Planned(
                    key=f"line:{line.pk}:{part}",
                    type=type_,
                    item=item if item is not None and item.type_id == type_.pk else None,
                    reason=f"{line.source}: {'wireless' if part == 'pickup' else 'receives it'}"[:REASON_MOST],
                    feed=feed.value,
                    critical=line.critical,
                    line=line.called,
                )
            )
        return rows

    def in_ears(self) -> list[Planned]:
        """Return transmitter and receiver of each in-ear mix."""
        rows = []
        for one in self.advice.lines:
            if one.line.type is None or one.line.type.key != "out-in-ear" or one.line.whose != Whose.OURS or one.pickup:
                continue
            for part, key, feed in (("sender", IN_EAR[0], Feed.MAINS), ("receiver", IN_EAR[1], Feed.CELLS)):
                if (type_ := self.types.get(key)) is not None:
                    made = f"line:{one.line.pk}:{part}"
                    rows.append(Planned(key=made, type=type_, reason=one.line.source, feed=feed.value, line=one.line.called))
        return rows

    def boxes(self) -> list[Planned]:
        rows = []
        for place in self.advice.places:
            if place.sort != PlaceSort.BOX or place.type is None:
                continue
            count = sum(one.line.box_id == place.pk for one in self.advice.lines)
            comes = f"{count} line{'s come' if count != 1 else ' comes'} into it" if count else "no line comes into it yet"
            digital = bool(getattr(place.type.facts, "digital", False))
            rows.append(
                Planned(
                    key=f"box:{place.pk}",
                    type=place.type,
                    reason=f"{place.name}: {comes}"[:REASON_MOST],
                    feed=Feed.MAINS.value if digital else "",
                    critical=Critical.CRITICAL.value if count > 1 else Critical.NORMAL.value,
                )
            )
        return rows

    def desk(self) -> list[Planned]:
        """Return our desk; the house's own stays where it is."""
        desk, venue = self.advice.plan.desk, self.advice.show.venue
        if desk is None or (venue is not None and venue.house_desk_type_id == desk.pk):
            return []
        count = sum(one.line.way == LineWay.IN for one in self.advice.lines)
        reason = f"the desk: {count} line{'' if count == 1 else 's'} in"
        return [Planned(key="desk", type=desk, reason=reason, feed=Feed.MAINS.value, critical=Critical.CRITICAL.value)]

    def loads(self, show: Show) -> list[Planned]:
        """Return the powered gear that stands at places, by type."""
        held: dict[int, list[StageLoad]] = defaultdict(list)
        for load in StageLoad.objects.filter(place__show=show).select_related("type", "place").order_by("place__name", "pk"):
            held[load.type_id].append(load)
        return [
            Planned(
                key=f"load:{loads[0].type.key or loads[0].type_id}",
                type=loads[0].type,
                count=sum(load.count for load in loads),
                reason=f"at {_listed(load.place.name for load in loads)}"[:REASON_MOST],
                feed=Feed.MAINS.value,
            )
            for loads in sorted(held.values(), key=lambda loads: loads[0].type.name)
        ]

    def stands(self) -> list[Planned]:
        """Return the stands by type: what a line names, or what its kind of source usually stands on."""
        held: dict[int, list[LineAdvice]] = defaultdict(list)
        types: dict[int, GearType] = {}
        for one in self.advice.lines:
            line = one.line
            usual = self.types.get(line.type.stand) if line.type and line.type.stand and not is_wireless(one) else None
            # a player's own microphone stands on the player's own stand, unless somebody named ours
            stand = line.stand or (usual if line.whose == Whose.OURS else None)
            if stand is not None:
                held[stand.pk].append(one)
                types[stand.pk] = stand
        return [
            Planned(
                key=f"stand:{types[pk].key or pk}",
                type=types[pk],
                count=len(ones),
                reason=_for_lines(ones)[:REASON_MOST],
            )
            for pk, ones in sorted(held.items(), key=lambda pair: types[pair[0]].name)
        ]

    def beside(self, rows: Sequence[Planned]) -> list[Planned]:
        """Return what must go beside these rows by the catalogue: clips, mains leads, a stage box's network lead.

        Stands, receivers and the leads of lines are planned by themselves.
        """
        asked: dict[int, list[Planned]] = defaultdict(list)
        for row in rows:
            asked[row.type.pk].append(row)
        have = {pk for pk, ones in asked.items() if ones}
        wanted: dict[tuple[int, int], list[tuple[GoesWith, int]]] = defaultdict(list)
        for rule in GoesWith.objects.filter(type__in=have).select_related("type", "needs__stand_facts"):
            if _is_apart(rule):
                continue
            wanted[rule.needs_id, rule.length_mm].append((rule, sum(row.count for row in asked[rule.type_id])))
        return [
            Planned(
                key=f"with:{pairs[0][0].needs.key or type_pk}:{length_mm}",
                type=pairs[0][0].needs,
                length_mm=length_mm,
                count=sum(rule.count * count for rule, count in pairs),
                reason=f"goes with {_listed(f'{count} {rule.type.name}' for rule, count in pairs)}"[:REASON_MOST],
            )
            for (type_pk, length_mm), pairs in sorted(wanted.items(), key=lambda pair: (pair[1][0][0].needs.name, pair[0][1]))
        ]


def is_wireless(one: LineAdvice) -> bool:
    kind = one.line.type
    sender = one.pickup is not None and one.pickup.kind == Kind.TRANSMITTER
    return sender or bool(kind and kind.family == Family.WIRELESS and (one.pickup is None or one.pickup.kind == Kind.LEAD))


def _is_apart(rule: GoesWith) -> bool:
    if rule.needs.kind == Kind.STAND:
        # a stand carries a height, a clip has none
        return getattr(rule.needs.facts, "highest_mm", None) is not None and rule.type.kind == Kind.MICROPHONE
    if rule.needs.kind in PLANNED_APART:
        return rule.type.kind not in {Kind.STAGE_BOX, Kind.DESK, Kind.LOUDSPEAKER, Kind.AMPLIFIER}
    return False


def _why(one: LineAdvice) -> str:
    """Return why this mic/DI, short: the source, and what a box costs it."""
    said, taken = one.line.source, one.taken
    if taken is not None and taken.answer is not None and one.pickup is not None and one.pickup.kind == Kind.INTERFACE_BOX:
        loss = taken.answer.loss_db
        said += f": loses {loss:.1f} dB into it" if loss >= 0.05 else ": loses next to nothing into it"
    return f"{said}, chosen by hand" if one.overruled else said


def _leads(show: Show) -> list[Planned]:
    rows = _others("leads", "lead_rows", show)
    return [
        Planned(
            key=f"lead:{type_.key or type_.pk}:{length_mm}",
            type=type_,
            length_mm=length_mm,
            count=count,
            reason=reason[:REASON_MOST],
            line=lines_said([str(number) for number in numbers]),
        )
        for type_, length_mm, count, reason, numbers in rows
    ]


def _spares(show: Show) -> list[Planned]:
    return [
        Planned(
            key=f"spare:{type_.key or type_.pk}:{length_mm}",
            type=type_,
            length_mm=length_mm,
            count=count,
            reason=reason[:REASON_MOST],
            critical=Critical.SPARE.value,
        )
        for type_, length_mm, count, reason in _others("spares", "spare_rows", show)
    ]


def _others(module: str, name: str, show: Show) -> Any:
    # leads and spares are worked out by modules of their own
    there = find_spec(f"shows.planning.{module}")
    return getattr(import_module(f"shows.planning.{module}"), name)(show) if there else []


def lines_said(called: Iterable[str]) -> str:
    """Join names of lines, as many as a row has room for: 8, 9."""
    said = ""
    for name in dict.fromkeys(called):
        longer = f"{said}, {name}" if said else name
        if len(longer) > LINE_MOST - 5:
            return f"{said}, ..."
        said = longer
    return said


def _for_lines(ones: Sequence[LineAdvice]) -> str:
    return f"for line{'s' if len(ones) != 1 else ''} {', '.join(one.line.called for one in ones)}"


def _listed(words: Iterable[str]) -> str:
    *most, last = list(dict.fromkeys(words)) or [""]
    return f"{', '.join(most)} and {last}" if most else last
