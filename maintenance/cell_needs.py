"""The swap list of a show: what it asks of each device against what sits in it; constant queries however many there are."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from uuid import UUID

from company.models import Company
from inventory.calc.kinds import Kind
from inventory.models import GearType, Item
from maintenance.calc.cell_advice import Ruling, hard_rules
from maintenance.calc.cell_pool import Pool, carried, empty
from maintenance.calc.cell_words import Advice, CellKind, Draw, Life, Seen, Stakes, SwapReason, System
from maintenance.calc.swap_list import CELLS, Advised, DeviceAtShow, SwapList, swap_list
from maintenance.cell_evidence import guess_of
from maintenance.cell_free_sets import kind_or_none, sets_free
from maintenance.cell_querysets import counting_readings, counting_swaps, stock_of_types
from maintenance.cell_state import BayState, state_of
from maintenance.models import CellLot, CellType, Charge, Swap, TypeDraw
from maintenance.registries import DeviceNeed, ShowNeeds, show_needs
from maintenance.services.cell_types import plan_of, sizes_wanted

READ_LATELY = timedelta(hours=48)  # before load-in: a reading this fresh was taken for this show
BARELY = 0.05  # hours: a set that has run less has not run
TO_DO = frozenset({Advice.SWAP, Advice.ASK, Advice.CHARGE})


@dataclass(frozen=True, kw_only=True)
class Done:
    """What was done for this show at a bay: swapped, charged, or read and kept."""

    word: str  # swapped, charged, kept
    at: datetime
    who: str
    small: str = ""
    uid: UUID | None = None  # of the swap, or the charge


@dataclass(frozen=True, kw_only=True)
class Row:
    """One bay of one device on the list; `item` none where nobody has chosen one yet. `charge`: the thing to put on charge."""

    need: DeviceNeed
    advised: Advised
    state: BayState | None = None
    item: Item | None = None
    charge: Item | None = None
    done: Done | None = None
    lot: CellLot | None = None  # what one tap takes, of what is advised
    cell_set: Item | None = None  # or the labelled set
    type: CellType | None = None  # what goes in, whether or not any lies here

    @property
    def tap(self) -> BayState | None:
        """Return the bay as one tap fills it: with what is advised, not with what is usual."""
        if self.state is None or self.type is None:
            return self.state
        return replace(self.state, lot=self.lot, fresh_type=self.type)

    @property
    def key(self) -> str:
        return f"{self.advised.device.key}.{self.advised.device.bay}"

    @property
    def life(self) -> Life | None:
        return self.advised.device.life

    @property
    def to_do(self) -> bool:
        return self.done is None and self.item is not None and self.advised.advice in TO_DO

    @property
    def doubt(self) -> str:
        """Say why a set that was swapped for this show may still not last it; empty where it will."""
        swapped = self.done is not None and self.done.word == "swapped" and self.need.feed == CELLS
        return self.advised.why if swapped and self.advised.short else ""

    @property
    def is_charge(self) -> bool:
        return self.charge is not None


@dataclass(frozen=True, kw_only=True)
class Listed:
    """A show's swap list, its rows in the order they are worked: what is to do first."""

    needs: ShowNeeds
    found: SwapList
    rows: tuple[Row, ...]
    types: dict[str, CellType] = field(default_factory=dict)

    def of(self, *advice: str) -> list[Row]:
        """Return the rows with one of these pieces of advice that are not done."""
        return [row for row in self.rows if row.done is None and row.advised.advice in advice]

    @property
    def swaps(self) -> list[Row]:
        return [row for row in self.rows if row.to_do and not row.is_charge]

    @property
    def charges(self) -> list[Row]:
        return [row for row in self.rows if row.to_do and row.is_charge]

    @property
    def done(self) -> list[Row]:
        return [row for row in self.rows if row.done is not None]

    @property
    def total(self) -> int:
        """Return how many were to be seen to: what is left and what is done."""
        return sum(row.to_do or row.done is not None for row in self.rows)

    def rows_of(self, item: int) -> list[Row]:
        """Return the rows of a device, or of the labelled set that is charged in one."""
        return [row for row in self.rows if (row.item and row.item.pk == item) or (row.charge and row.charge.pk == item)]


def listed(show: int, at: datetime) -> Listed | None:
    """Return a show's swap list as it stands; None for what is no show or a cancelled one."""
    needs = show_needs(show, at)
    return None if needs is None else lists_of([needs], at)[0]


def lists_of(shows: Sequence[ShowNeeds], at: datetime) -> list[Listed]:
    """Return the swap lists of some shows, in their order; constant queries."""
    items = list({need.item.pk: need.item for show in shows for need in show.needs if need.item is not None}.values())
    book = _Book(shows, items, at)
    return [_listed(show, book) for show in shows]


class _Book:
    """All that lists are made of, read once."""

    def __init__(self, shows: Sequence[ShowNeeds], items: list[Item], at: datetime) -> None:
        self.at = at
        keys = [show.key for show in shows]
        pks = [item.pk for item in items]
        self.limit = 1 / Company.current().cell_show_limit
        bare = {need.type_id for show in shows for need in show.needs if need.item is None}
        types = GearType.objects.select_related("box_facts", "wireless_facts", "microphone_facts").in_bulk(bare)
        self.types = types | {item.type_id: item.type for item in items}
        self.plans = plan_of(self.types.values())
        self.sizes = sizes_wanted(self.types.values())
        self.states = state_of(items, at)
        self.cell_types = list(CellType.objects.order_by("size", "key"))
        self.kinds = {row.pk: kind for row in self.cell_types if (kind := kind_or_none(row)) is not None}
        self.by_key = {row.key: row for row in self.cell_types}
        on_shelf = stock_of_types()
        self.stock = {row.key: max(0, on_shelf.get(row.pk, 0)) for row in self.cell_types}
        self.sets = sets_free(self.cell_types, self.kinds, keys, at)
        pools = TypeDraw.objects.filter(type__in=bare)
        self.pools = {
            row.type_id: Pool(mean_ln=row.mean_ln, var_ln=row.var_ln, spread_ln=row.spread_ln, devices=row.devices)
            for row in pools
        }
        swaps = counting_swaps().filter(item__in=pks)
        self.swapped: dict[tuple[int, int, int], Swap] = {}
        for swap in swaps.filter(show__in=keys).exclude(type=None).select_related("person", "type").order_by("done_at", "pk"):
            self.swapped[swap.show or 0, swap.item_id, swap.bay] = swap
        sets = [s.fitted.cell_set_id for rows in self.states.values() for s in rows if s.fitted and s.fitted.cell_set_id]
        charges = Charge.objects.filter(item__in=[*pks, *sets], withdrawn_at=None).select_related("person").order_by("at", "pk")
        self.charges: dict[tuple[int, int], Charge] = {}
        for charge in charges.filter(show__in=keys):
            self.charges[charge.show or 0, charge.item_id] = charge
        earliest = min((show.load_in for show in shows), default=at) - READ_LATELY
        self.read: dict[tuple[int, int], list] = defaultdict(list)  # type: ignore[type-arg]
        for reading in counting_readings().filter(item__in=pks, read_at__gte=earliest).select_related("person"):
            self.read[reading.item_id, reading.bay].append(reading)

    def usual(self, type_: GearType) -> CellKind | None:
        """Return what a type usually takes."""
        row = self.by_key.get(type_.cell_size)
        return self.kinds.get(row.pk) if row is not None else None

    def others(self, type_id: int) -> tuple[CellKind, ...]:
        """Return what else of a size could be fitted, zinc-carbon left out."""
        size = self.sizes.get(type_id, "")
        return tuple(
            self.kinds[row.pk]
            for row in self.cell_types
            if size and row.size == size and row.system != System.ZINC_CARBON and row.pk in self.kinds
        )

    def draw(self, type_id: int) -> Draw | None:
        """Return what a device of a type may be thought to draw, before it is known which."""
        guess = guess_of(self.plans[type_id])
        return None if isinstance(guess, str) else carried(None, guess, self.pools.get(type_id) or empty(guess))


def _listed(show: ShowNeeds, book: _Book) -> Listed:
    drafts: list[tuple[DeviceNeed, BayState | None, Item | None, DeviceAtShow]] = []
    for need in show.needs:
        if need.item is None:
            if _takes_cells(book.types[need.type_id]) or book.plans[need.type_id].full_charge_h:
                drafts.append((need, None, None, _unchosen(need, book)))
            continue
        if need.item.type.kind == Kind.CELL_SET:
            drafts.append((need, None, need.item, _cell_set(show, need, need.item, book)))
            continue
        drafts += [(need, state, None, _device(show, need, state, book)) for state in book.states.get(need.item.pk, ())]
    done = {d.key for need, _state, _set, d in drafts if need.item and (show.key, need.item.pk, d.bay) in book.swapped}
    found = swap_list(
        [d[3] for d in drafts],
        what=show_words(show),
        limit=book.limit,
        stock=book.stock,
        sets=[one.labelled for one in book.sets.values()],
        done=done,
    )
    rows = [
        _row(show, need, state, cell_set, advised, book)
        for (need, state, cell_set, _device), advised in zip(drafts, found.advised, strict=True)
    ]
    return Listed(needs=show, found=found, rows=tuple(sorted(rows, key=_turn)), types=book.by_key)


def show_words(show: ShowNeeds) -> str:
    """Name a show as sentences do; one under way needs what is left of it."""
    return f"the rest of {show.name}" if show.under_way else show.name


def _takes_cells(type_: GearType) -> bool:
    return type_.bays > 0


def _turn(row: Row) -> tuple[int, float, str, int]:
    """What is to do first, then what is kept, then what needs nothing; the worst first, then by name."""
    order = [Advice.SWAP, Advice.ASK, Advice.CHARGE, Advice.SPARE, Advice.KEEP, Advice.NOTHING]
    chance = row.advised.chance
    return (
        order.index(row.advised.advice),
        -(chance if chance is not None else 0.5),
        row.advised.device.name,
        row.advised.device.bay,
    )


def _unchosen(need: DeviceNeed, book: _Book) -> DeviceAtShow:
    type_, plan = book.types[need.type_id], book.plans[need.type_id]
    return DeviceAtShow(
        key=f"type {type_.pk} {need.line}",
        name=type_.name,
        line=need.line,
        chosen=False,
        count=need.count,
        need_h=need.need_h,
        feed=need.feed,
        assumed=need.assumed,
        stakes=need.stakes,
        size=book.sizes.get(type_.pk, ""),
        cells=plan.cells_a_bay * max(1, type_.bays // plan.cells_a_bay) if type_.bays else 0,
        draw=book.draw(type_.pk),
        fresh=book.usual(type_),
        others=book.others(type_.pk),
        pack=not type_.bays,
    )


def _cell_set(show: ShowNeeds, need: DeviceNeed, item: Item, book: _Book) -> DeviceAtShow:
    """A labelled set that goes along by itself is charged the night before."""
    return DeviceAtShow(
        key=item.code,
        name=item.label,
        code=item.code,
        need_h=need.need_h,
        stakes=Stakes.REHEARSAL,
        pack=True,
        charged=(show.key, item.pk) in book.charges,
    )


def _device(show: ShowNeeds, need: DeviceNeed, state: BayState, book: _Book) -> DeviceAtShow:
    item, plan, fitted = state.item, state.plan, state.fitted
    rehearsal = need.stakes is Stakes.REHEARSAL
    charged_item = fitted.cell_set_id if fitted and fitted.cell_set_id else item.pk
    rulings: tuple[Ruling, ...] = ()
    if fitted is not None and state.kind is not None:
        low = Seen(volts=state.reading.volts, hours=state.hours) if state.below_floor and state.reading else None
        rulings = hard_rules(
            state.kind,
            in_series=fitted.cells,
            seen=low,
            expired=state.expired,
            was_new=fitted.was_new,
            transmitter=plan.transmitter,
            fresh_every_show=plan.fresh_every_show,
            hours_used=state.hours if state.hours >= BARELY else 0.0,
            rehearsal=rehearsal,
        )
    others = book.others(item.type_id)
    fresh = state.fresh_kind if state.fresh_kind in others or state.fresh_kind is not None else next(iter(others), None)
    return DeviceAtShow(
        key=item.code,
        name=item.label,
        code=item.code,
        bay=state.bay,
        line=need.line,
        need_h=need.need_h,
        feed=need.feed,
        assumed=need.assumed,
        phantom_seen=need.phantom_seen,
        stakes=need.stakes,
        size=state.size,
        cells=plan.cells_a_bay,
        kind=state.kind,
        life=state.life,
        draw=state.draw,
        fresh=fresh,
        others=others,
        rulings=rulings,
        trouble=state.fault if fitted is not None or state.pack else "",
        known=state.fitted is not None or state.empty,
        pack=state.pack,
        charged=(show.key, charged_item) in book.charges or _full(show, state),
        unused=fitted is not None and fitted.was_new is True and state.hours < BARELY,
    )


def _full(show: ShowNeeds, state: BayState) -> bool:
    """Say whether a pack came off the charger so shortly before load-in that it need not go on again."""
    lately = state.since is not None and state.since >= show.load_in - READ_LATELY
    return state.pack and lately and state.hours < BARELY


def _row(
    show: ShowNeeds, need: DeviceNeed, state: BayState | None, cell_set: Item | None, advised: Advised, book: _Book
) -> Row:
    item = need.item
    charge: Item | None = cell_set
    if state is not None and item is not None and need.feed == CELLS:
        rechargeable = state.kind is not None and state.kind.rechargeable
        if state.pack:
            charge = item
        elif rechargeable and (advised.advice is Advice.CHARGE or advised.device.charged):
            charge = state.fitted.cell_set if state.fitted and state.fitted.cell_set else item
    done = None
    if item is not None:
        swap = book.swapped.get((show.key, item.pk, advised.device.bay))
        charged = book.charges.get((show.key, charge.pk)) if charge is not None else None
        if charged is not None:
            done = Done(word="charged", at=charged.at, who=str(charged.person or ""), uid=charged.uid)
        elif swap is not None:
            small = f"{swap.cells} × {swap.type}" if swap.cells > 1 else str(swap.type)
            if swap.reason == SwapReason.DIED:
                small += ", the old set had died"
            done = Done(word="swapped", at=swap.done_at, who=str(swap.person or ""), small=small, uid=swap.uid)
        elif advised.advice in (Advice.KEEP, Advice.SPARE) and need.feed == CELLS:
            done = _kept(show, item, advised.device.bay, book)
    fit = advised.fit
    free = book.sets.get(fit.labelled.key) if fit is not None and fit.labelled is not None else None
    type_ = book.by_key.get(fit.kind.key) if fit is not None else None
    return Row(
        need=need,
        advised=advised,
        state=state,
        item=item,
        charge=charge,
        done=done,
        lot=lot_of(state, type_) if free is None else None,
        cell_set=free.item if free is not None else None,
        type=type_,
    )


def lot_of(state: BayState | None, type_: CellType | None) -> CellLot | None:
    """Return the oldest lot of a type that holds a set, else the oldest there is of it."""
    mine = [lot for lot in state.lots if lot.type_id == type_.pk] if state is not None and type_ is not None else []
    enough = [lot for lot in mine if lot.left >= state.plan.cells_a_bay] if state is not None else []  # type: ignore[attr-defined]
    return next(iter(enough or mine), None)


def _kept(show: ShowNeeds, item: Item, bay: int, book: _Book) -> Done | None:
    """Read for this show and found good enough: kept, read 8.4 V."""
    late = [one for one in book.read[item.pk, bay] if show.load_in - READ_LATELY <= one.read_at <= show.strike]
    if not late:
        return None
    newest = max(late, key=lambda one: (one.read_at, one.pk))
    return Done(word="kept", at=newest.read_at, who=str(newest.person or ""), small=f"read {newest.volts:g} V")
