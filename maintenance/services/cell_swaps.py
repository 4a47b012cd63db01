"""Swaps: what went in a bay, what came out and why. Append-only; a mistake is a row that takes the old one back."""

import uuid as uuids
from dataclasses import dataclass, field
from datetime import datetime

from django.db import IntegrityError, transaction

from company.clock import today
from company.models import Person
from company.templatetags.tape import clock, moment
from company.templatetags.tape import day as day_words
from inventory.models import Item
from maintenance.calc.cell_words import SWAP_REASON_WORDS, Life, Pool, SwapReason
from maintenance.cell_querysets import counting_swaps, lots_to_take
from maintenance.models import CellLot, CellType, FittedSet, Swap
from maintenance.services.cell_checks import SwapGiven, set_at, swap_checked
from maintenance.services.cell_folding import item_refold
from maintenance.services.cell_reckon import item_cells_reckon
from maintenance.services.cell_refused import SwapRefused
from maintenance.services.cell_stock import lot_words
from maintenance.services.cell_types import plan_of, sizes_wanted
from maintenance.services.cell_undo import undo_checked


@dataclass(frozen=True, kw_only=True)
class Swapped:
    """What a swap did. `again`: that id was on record. `fitted`, `removed`: the sets; `life` what the new one promises."""

    swap: Swap
    again: bool
    fitted: FittedSet | None
    removed: FittedSet | None
    life: Life | None
    words: list[str] = field(default_factory=list)


def swap_record(
    *,
    uid: uuids.UUID,
    item: Item,
    bay: int = 1,
    lot: CellLot | None = None,
    cell_set: Item | None = None,
    type: CellType | None = None,
    cells: int | None = None,
    was_new: bool | None = True,
    reason: SwapReason = SwapReason.PRECAUTION,
    out_to: Pool | str = "",
    out_volts: float | None = None,
    done_at: datetime,
    received_at: datetime,
    person: Person | None,
    show: int | None = None,
    note: str = "",
    anyway: bool = False,
) -> Swapped:
    """Record what went into a bay, or only came out (no lot, set or type), in one transaction; all of it or nothing.

    The same uid is one swap with one answer. Raises SwapRefused with a field and a sentence; where its `anyway` is True the
    person may send it again with `anyway=True`. What they are told is in `words`.
    """
    given = SwapGiven(
        uid=uid,
        item=item,
        bay=bay,
        lot=lot,
        cell_set=cell_set,
        type=type,
        cells=cells,
        was_new=was_new,
        reason=SwapReason(reason),
        out_to=out_to,
        out_volts=out_volts,
        done_at=done_at,
        received_at=received_at,
        person=person,
        show=show,
        note=note,
        anyway=anyway,
    )
    for attempt in (1, 2):
        try:
            with transaction.atomic():
                return _record(given)
        except IntegrityError:
            # the same swap came in at the same moment by another way and got in first: now it is on record, look again
            if attempt == 2:
                raise
    raise AssertionError


def _record(given: SwapGiven) -> Swapped:
    _hold([pk for pk in (given.item.pk, *_elsewhere(given)) if pk])
    item = Item.objects.select_related("type").get(pk=given.item.pk)
    known = Swap.objects.filter(uid=given.uid).select_related("item__type", "person", "type", "lot__type", "cell_set").first()
    if known is not None:
        return _again(known)
    checked = swap_checked(SwapGiven(**{**given.__dict__, "item": item}))
    given, words = checked.given, checked.words
    swap = Swap.objects.create(
        uid=given.uid,
        item=item,
        bay=given.bay,
        type=given.type,
        lot=given.lot,
        cell_set=given.cell_set,
        cells=given.cells or 1,
        was_new=given.was_new if given.type else None,
        reason=given.reason,
        out_to=given.out_to,
        out_volts=given.out_volts,
        done_at=given.done_at,
        received_at=given.received_at,
        person=given.person,
        show=given.show,
        note=given.note,
    )
    folded = item_refold(item=item, at=given.received_at)
    if given.cell_set is not None:
        words += _set_moved(swap, given.cell_set, at=given.received_at)
    lives = item_cells_reckon(item=item, at=given.received_at)
    return Swapped(
        swap=swap,
        again=False,
        fitted=folded.sets.get(swap.uid),
        removed=folded.ended.get(swap.uid),
        life=lives.get(swap.uid),
        words=[swap_words(swap, folded.ended.get(swap.uid)), *words],
    )


def _hold(pks: list[int]) -> None:
    """Hold items until the transaction ends, in the order of their keys."""
    list(Item.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=pks).order_by("pk").values_list("pk"))


def _elsewhere(given: SwapGiven) -> list[int]:
    """Return the devices, and the set itself, that fitting a labelled set touches."""
    if given.cell_set is None:
        return []
    there = FittedSet.objects.filter(cell_set=given.cell_set, removed_at=None).values_list("item_id", flat=True)
    return [given.cell_set.pk, *there]


def _again(swap: Swap) -> Swapped:
    if swap.takes_back_id is not None:
        raise SwapRefused("That id is the one of taking a swap back. Make a new id for a new swap.", "id")
    fitted = FittedSet.objects.filter(opened_uid=swap.uid).select_related("type", "lot").first()
    before = FittedSet.objects.filter(item=swap.item_id, bay=swap.bay, removed_at=swap.done_at)
    removed = before.exclude(opened_uid=swap.uid).order_by("-fitted_at").first()
    life = None
    if fitted is not None and fitted.removed_at is None:
        from maintenance.cell_evidence import cached_life

        life = cached_life(fitted)
    return Swapped(swap=swap, again=True, fitted=fitted, removed=removed, life=life, words=[swap_words(swap, removed)])


def _set_moved(swap: Swap, cell_set: Item, *, at: datetime) -> list[str]:
    """A labelled set is in one device at a time: where it is in a second, the record of the first says it came out."""
    said = []
    rows = FittedSet.objects.filter(cell_set=cell_set).exclude(opened_uid=swap.uid).select_related("item__type")
    before = rows.filter(fitted_at__lte=swap.done_at).exclude(removed_at__lte=swap.done_at).order_by("pk")
    for other in before:
        _taken_out(swap, other.item, other.bay, at=swap.done_at, received_at=at)
        said.append(f"It was in {other.item} until now: taken out there.")
    after = rows.filter(fitted_at__gt=swap.done_at).order_by("fitted_at").first()
    mine = FittedSet.objects.filter(opened_uid=swap.uid).first()
    if after is not None and mine is not None and (mine.removed_at is None or mine.removed_at > after.fitted_at):
        _taken_out(swap, swap.item, swap.bay, at=after.fitted_at, received_at=at)
        said.append(f"It has been in {after.item} since {moment(after.fitted_at)}: taken out here then.")
    return said


def _taken_out(swap: Swap, item: Item, bay: int, *, at: datetime, received_at: datetime) -> None:
    Swap.objects.create(
        uid=uuids.uuid5(swap.uid, f"out of {item.pk} {bay}"),
        item=item,
        bay=bay,
        cells=swap.cells,
        was_new=None,
        reason=SwapReason.PRECAUTION,
        done_at=at,
        received_at=received_at,
        person=swap.person,
        show=swap.show,
        note=f"Moved with {swap.cell_set}"[:300],
    )
    item_refold(item=item, at=received_at)
    if item.pk != swap.item_id:
        item_cells_reckon(item=item, at=received_at)


def swap_undo(*, swap: Swap, person: Person | None, at: datetime, sure: bool = False) -> Swap:
    """Take a swap back by a row that names it, and answer that row; asked twice, it is taken back once.

    A hand takes back their own of the last day, a technician the newest few, and older ones when `sure`: told what follows.
    What sat there before sits there again, and the lot has its cells back. An undo itself is not undone: note the swap again.
    """
    if swap.takes_back_id is not None:
        raise SwapRefused("That row takes a swap back. To have the swap again, note it again.")
    with transaction.atomic():
        moved = Swap.objects.filter(note=f"Moved with {swap.cell_set}"[:300]) if swap.cell_set_id else Swap.objects.none()
        others = [s for s in moved.select_related("item") if s.uid == uuids.uuid5(swap.uid, f"out of {s.item_id} {s.bay}")]
        _hold([swap.item_id, *(s.item_id for s in others)])
        known = Swap.objects.filter(takes_back=swap).first()
        if known is not None:
            return known
        undo_checked([swap], person=person, at=at, sure=sure)
        row = _back(swap, person, at)
        for one in others:
            if not Swap.objects.filter(takes_back=one).exists():
                _back(one, person, at)
        for item in (
            Item.objects.filter(pk__in={swap.item_id, *(s.item_id for s in others)}).select_related("type").order_by("pk")
        ):
            item_refold(item=item, at=at)
            item_cells_reckon(item=item, at=at)
    return row


def _back(swap: Swap, person: Person | None, at: datetime) -> Swap:
    return Swap.objects.create(
        uid=uuids.uuid5(swap.uid, "taken back"),
        item_id=swap.item_id,
        bay=swap.bay,
        cells=swap.cells,
        was_new=None,
        reason=swap.reason,
        done_at=at,
        received_at=at,
        person=person,
        takes_back=swap,
    )


def swap_words(swap: Swap, removed: FittedSet | None) -> str:
    """Say what was swapped: 9 V alkaline from the lot of June in Active direct box B, 18:02; out came one after 43 h, died."""
    if swap.type is None:
        said = f"{swap.item}: cells taken out"
    else:
        many = "" if swap.cells == 1 else f"{swap.cells} × "
        whence = f" from {lot_words(swap.lot)}" if swap.lot else f", {swap.cell_set}" if swap.cell_set else ""
        said = f"{swap.item}: {many}{swap.type.name}{whence} in" + (f" bay {swap.bay}" if swap.bay > 1 else "")
    if removed is not None and removed.removed_because:
        said += f" ({SWAP_REASON_WORDS[SwapReason(removed.removed_because)]})"
    return f"{said}, {clock(swap.done_at)}."


def newest_swap(item: Item, bay: int) -> Swap | None:
    """Return the newest swap of a bay that counts: what an undo takes back."""
    rows = counting_swaps().filter(item=item, bay=bay).select_related("item__type", "type", "lot__type", "cell_set")
    return rows.order_by("-done_at", "-pk").first()


def oldest_lot(item: Item, bay: int, at: datetime) -> CellLot | None:
    """Return the lot one tap takes: fresh, of the right size, not expired; the cell its type names first, then the oldest."""
    from maintenance.calc.cell_words import System

    size = sizes_wanted([item.type])[item.type_id]
    lots = lots_to_take(sizes=[size], on=today(at)).get(size, [])
    plan = plan_of([item.type])[item.type_id]
    lots = [lot for lot in lots if lot.type.system != System.ZINC_CARBON and not lot.type.rechargeable]
    enough = [lot for lot in lots if lot.left >= plan.cells_a_bay] or lots  # type: ignore[attr-defined]
    return next((lot for lot in enough if lot.type.key == item.type.cell_size), enough[0] if enough else None)


def fitted_words(fitted: FittedSet) -> str:
    """Say what is in a bay: fitted Tue 3 Nov from the lot of June."""
    whence = f" from {lot_words(fitted.lot)}" if fitted.lot else f", {fitted.cell_set}" if fitted.cell_set else ""
    state = "" if fitted.was_new else ", part-used" if fitted.was_new is False else ", nobody knows how used"
    return f"{fitted.type.name} fitted {day_words(fitted.fitted_at)}{whence}{state}"


__all__ = [
    "SwapRefused",
    "Swapped",
    "fitted_words",
    "newest_swap",
    "oldest_lot",
    "set_at",
    "swap_record",
    "swap_undo",
    "swap_words",
]
