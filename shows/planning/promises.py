"""Which actual things go to which lines: what lines want, what there is, read for shows/calc/allocation.py."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count

from company.models import Company
from inventory.calc.kinds import Kind
from inventory.models import GearType, Item
from maintenance.cell_state import state_of
from maintenance.models import UseLedger
from shows.calc.allocation import Thing, Want
from shows.calc.lines import LineWay, Whose
from shows.calc.words import Critical, Feed, ShowState
from shows.cells import hours_on
from shows.models import InputLine, Promised, PullRow, Show
from shows.planning.advice import advice_of
from shows.planning.pulling import WIRELESS, is_wireless
from shows.planning.told import LineAdvice
from shows.shortage import overlapping

# leads and stands come off the pile by type and length and are never promised one by one
PROMISED = frozenset({Kind.INTERFACE_BOX, Kind.MICROPHONE, Kind.TRANSMITTER, Kind.RECEIVER})
MOST_SHOWS = 60
AHEAD = timedelta(days=120)
WEIGHTS = {Critical.CRITICAL.value: 4.0, Critical.NORMAL.value: 1.0, Critical.SPARE.value: 0.5}
FOR_EVER = date(9999, 1, 1).toordinal()
WORN_SHOWS = 200.0  # so many uses is worn out, for the sake of even wear. Our proposal.


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What is to be given out: wants with their lines by key, things, and the shows in question."""

    shows: tuple[Show, ...]
    wants: tuple[Want, ...]
    lines: dict[str, InputLine]
    things: tuple[Thing, ...]
    kept: tuple[Promised, ...]


def shows_at_once(show: Show) -> list[Show]:
    """Return a show and the planned ones that hold gear on any of its days."""
    return [show, *overlapping(show)]


def shows_coming(at: datetime) -> list[Show]:
    """Return the planned shows that are not home yet, the soonest first."""
    coming = Show.objects.filter(state=ShowState.PLANNED, home_by__gt=at, load_in__lt=at + AHEAD)
    return list(coming.select_related("venue__house_desk_type").order_by("load_in", "pk")[:MOST_SHOWS])


def asked_of(shows: Sequence[Show], at: datetime) -> Asked:
    """Read what the lines of some shows want and what there is to give. What a person chose by hand stays, and is not asked
    for again."""
    keys = [show.pk for show in shows]
    kept = tuple(Promised.objects.filter(line__show__in=keys, by_hand=True).select_related("line__show", "item"))
    by_hand = {one.line_id for one in kept}
    had = dict(Promised.objects.filter(line__show__in=keys).values_list("line", "item"))
    wants: list[Want] = []
    lines: dict[str, InputLine] = {}
    senders, company = _senders(), Company.current()
    for show in shows:
        for one in advice_of(show).lines:
            line = one.line
            if line.way != LineWay.IN or line.whose != Whose.OURS or line.pk in by_hand or one.shares is not None:
                continue
            type_ = wanted_type(one, senders)
            if type_ is None:
                continue
            key = str(line.pk)
            lines[key] = line
            wants.append(
                Want(
                    key=key,
                    show=show.pk,
                    type=type_.pk,
                    first=show.hold_from.toordinal(),
                    last=show.hold_until.toordinal(),
                    weight=WEIGHTS.get(line.critical, 1.0),
                    hours=hours_on(show, getattr(type_, "box_facts", None), company) if _on_cells(one) else 0.0,
                    had=had.get(line.pk),
                )
            )
    things = things_of({want.type for want in wants}, shows, kept, at)
    return Asked(shows=tuple(shows), wants=tuple(wants), lines=lines, things=tuple(things), kept=kept)


def _on_cells(one: LineAdvice) -> bool:
    return one.feed == Feed.CELLS or is_wireless(one)


def _senders() -> dict[str | None, GearType]:
    return {one.key: one for one in GearType.objects.filter(key__in=WIRELESS)}


def wanted_type(one: LineAdvice, senders: dict[str | None, GearType]) -> GearType | None:
    """Return the type of labelled thing a line wants, as the pull list has it; None: none, or one off the pile."""
    if is_wireless(one):
        return one.pickup if one.pickup is not None and one.pickup.kind == Kind.TRANSMITTER else senders.get(WIRELESS[0])
    return one.pickup if one.pickup is not None and one.pickup.kind in PROMISED else None


def things_of(types: Iterable[int], shows: Sequence[Show], kept: Iterable[Promised], at: datetime) -> list[Thing]:
    """Return the labelled things of some types as they may be given out; constant queries."""
    asked = [show.pk for show in shows]
    items = list(
        Item.objects.owned()
        .filter(type__in=list(types), missing_since=None, retired_on=None)
        .select_related("at", "type__box_facts", "type__wireless_facts", "type__microphone_facts")
        .order_by("pk")
    )
    left = _hours_left(items, at)
    pks = [item.pk for item in items]
    away: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for one in kept:
        away[one.item_id].append((one.line.show.hold_from.toordinal(), one.line.show.hold_until.toordinal()))
    named = PullRow.objects.filter(item__in=pks, show__state=ShowState.PLANNED).exclude(show__in=asked)
    promised = Promised.objects.filter(item__in=pks, line__show__state=ShowState.PLANNED).exclude(line__show__in=asked)
    for item, first, last in [
        *named.values_list("item", "show__hold_from", "show__hold_until"),
        *promised.values_list("item", "line__show__hold_from", "line__show__hold_until"),
    ]:
        away[item].append((first.toordinal(), last.toordinal()))
    out_at = {i.custody_show for i in items if i.custody_show} - set(asked)
    until = dict(Show.objects.filter(pk__in=out_at).values_list("pk", "hold_until"))
    uses = dict(UseLedger.objects.filter(item__in=pks, state="done").order_by().values_list("item").annotate(n=Count("pk")))
    things = []
    for item in items:
        if item.lent_to:
            away[item.pk].append((0, item.lent_home_by.toordinal() if item.lent_home_by else FOR_EVER))
        if item.at is not None and item.at.sort == "repairer":
            away[item.pk].append((0, FOR_EVER))
        if item.give_back_by:
            away[item.pk].append((item.give_back_by.toordinal(), FOR_EVER))
        if item.custody_show in until:
            away[item.pk].append((0, until[item.custody_show].toordinal()))
        things.append(
            Thing(
                key=item.pk,
                type=item.type_id,
                case=item.in_case_id,
                suspect=item.suspect_since is not None,
                proved=item.tested_on is not None or item.taken_as_good_on is not None,
                test_by=item.test_by.toordinal() if item.test_by else None,
                hours_left=left.get(item.pk),
                wear=min(1.0, uses.get(item.pk, 0) / WORN_SHOWS),
                away=tuple(away[item.pk]),
            )
        )
    return things


def _hours_left(items: Sequence[Item], at: datetime) -> dict[int, float]:
    """Return {item: hours its emptiest bay is sure to have left (95 of 100)}; what has no forecast is left out."""
    bays = state_of([item for item in items if item.type.bays], at)
    lows = {pk: [state.life.low_h for state in states if state.life is not None] for pk, states in bays.items()}
    return {pk: min(some) for pk, some in lows.items() if some}


@dataclass(frozen=True, kw_only=True)
class LineTold:
    """A line that wants a thing, with the thing it has, or who has them all."""

    line: InputLine
    called: str
    type_name: str
    promised: Promised | None


def told_of(show: Show) -> list[LineTold]:
    """Return a show's lines that want a labelled thing, with what was promised to them; constant queries."""
    advice, senders = advice_of(show), _senders()
    day = show.hold_from
    rows = Promised.objects.filter(line__show=show).select_related("item__type", "item__in_case__type")
    held = {one.line_id: one for one in rows}
    standing = dict(Item.objects.described(day).filter(pk__in=[one.item_id for one in rows]).values_list("pk", "standing"))
    told = []
    for one in advice.lines:
        line = one.line
        if line.way != LineWay.IN or line.whose != Whose.OURS or one.shares is not None:
            continue
        type_ = wanted_type(one, senders)
        if type_ is None:
            continue
        promised = held.get(line.pk)
        if promised is not None:
            promised.item.standing = standing.get(promised.item_id, "")
        told.append(LineTold(line=line, called=line.called, type_name=type_.name, promised=promised))
    return told
