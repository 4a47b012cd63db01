"""What a swap may not be, what it may be if a person insists, and what is said with it: each a sentence."""

import uuid as uuids
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from django.db.models import Q

from company.clock import today
from company.models import Person
from company.templatetags.tape import clock, moment
from company.templatetags.tape import day as day_words
from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc import cells
from maintenance.calc.cell_words import CellError, Pool, SwapReason, System
from maintenance.cell_querysets import counting_readings, counting_swaps
from maintenance.models import CellLot, CellPlan, CellType, FittedSet, Swap
from maintenance.services.bench_judging import CLOCKS_DIFFER
from maintenance.services.cell_refused import SwapRefused
from maintenance.services.cell_stock import lot_left
from maintenance.services.cell_types import kind_of, plan_of, sets_of, sizes_wanted

TOGETHER = timedelta(minutes=30)  # bays of one device changed so close are one change
SAME_SWAP = timedelta(minutes=5)
TAPPED_TWICE = timedelta(minutes=2)
AGES_APART = timedelta(days=365)


@dataclass(frozen=True, kw_only=True)
class SwapGiven:
    """A swap as it was done. `type`, `lot` and `cell_set` None: only taken out. `cells` None: as many as a set has."""

    uid: uuids.UUID
    item: Item
    bay: int = 1
    lot: CellLot | None = None
    cell_set: Item | None = None
    type: CellType | None = None
    cells: int | None = None
    was_new: bool | None = True
    reason: SwapReason = SwapReason.PRECAUTION
    out_to: Pool | str = ""
    out_volts: float | None = None
    done_at: datetime
    received_at: datetime
    person: Person | None = None
    show: int | None = None
    note: str = ""
    anyway: bool = False


@dataclass(kw_only=True)
class Checked:
    """A swap with what was left out filled in, and what is to be said with it."""

    given: SwapGiven
    plan: CellPlan
    here: FittedSet | None  # what sat in the bay then, as far as is known
    words: list[str] = field(default_factory=list)

    def unless(self, words: str, where: str = "") -> None:
        """Refuse, unless the person insisted: then it is said."""
        if not self.given.anyway:
            raise SwapRefused(words, where, anyway=True)
        self.words.append(words)


def swap_checked(given: SwapGiven) -> Checked:
    """Return the swap filled in. SwapRefused with a sentence and a field for what cannot be, or wants insisting."""
    item = given.item
    plan = plan_of([item.type])[item.type_id]
    given = replace(given, done_at=min(given.done_at, given.received_at) if not _ahead(given) else given.done_at)
    here = set_at(item, given.bay, given.done_at)
    checked = Checked(given=_filled(given, plan), plan=plan, here=here)
    _dates(checked)
    _bays(checked)
    _same_swap(checked)
    _late(checked)
    if checked.given.type is not None:
        _what_goes_in(checked, checked.given.type)
    _what_comes_out(checked)
    return checked


def set_at(item: Item, bay: int, at: datetime) -> FittedSet | None:
    """Return what sat in a bay at an instant."""
    rows = FittedSet.objects.filter(item=item, bay=bay, fitted_at__lte=at).exclude(removed_at__lte=at)
    return rows.select_related("type", "lot", "cell_set__type").order_by("-fitted_at").first()


def set_type(cell_set: Item, size: str) -> CellType:
    """Return what a labelled set is made of: the cell its type names, else its size by the system in its facts."""
    named = CellType.objects.filter(key=cell_set.type.cell_size).first() if cell_set.type.cell_size else None
    if named is not None:
        return named
    facts = getattr(cell_set.type, "cell_set_facts", None)
    said = (facts.chemistry if facts else "").lower().replace("-", "")
    systems = {
        System.NIMH: ("nimh", "nickel", "hr"),
        System.LITHIUM_ION: ("liion", "lithium ion", "lithiumion"),
    }
    system = next((s for s, words in systems.items() if any(word in said for word in words)), None)
    found = CellType.objects.filter(size=size, rechargeable=True)
    if system is not None:
        found = found.filter(system=system)
    # of several, the plainest: the one whose key comes first
    row = found.order_by("key").first()
    if row is None:
        raise SwapRefused(f"What {cell_set} is made of is not known: name its cell on its type, such as HR6.", "cell_set")
    return row


def _ahead(given: SwapGiven) -> bool:
    return given.done_at > given.received_at + CLOCKS_DIFFER


def _filled(given: SwapGiven, plan: CellPlan) -> SwapGiven:
    if given.lot is not None and given.cell_set is not None:
        raise SwapRefused("Cells of a lot, or a labelled set: not both.", "lot")
    lot = given.lot
    if lot is not None:
        if given.type is not None and given.type.pk != lot.type_id:
            raise SwapRefused(f"That lot is {lot.type}, not {given.type}.", "lot")
        if Pool(lot.pool) in {Pool.RECYCLE, Pool.QUARANTINE}:
            raise SwapRefused("Those are on their way out: they are not fitted again.", "lot")
        given = replace(given, type=lot.type, was_new=False if lot.pool == Pool.REHEARSAL else given.was_new)
    if given.cell_set is not None and given.type is None:
        size = sizes_wanted([given.item.type])[given.item.type_id]
        given = replace(given, type=set_type(given.cell_set, size))
    usual = plan.cells_a_bay
    if given.type is not None and given.cells is not None and given.cells != usual:
        many = "1 cell" if usual == 1 else f"{usual} cells"
        raise SwapRefused(f"A set of {given.item} is {many}, not {given.cells}.", "cells")
    out = given.out_to
    if not out:
        out = {SwapReason.LEAKED: Pool.QUARANTINE, SwapReason.DIED: Pool.RECYCLE}.get(given.reason, "")
    return replace(given, cells=usual, out_to=out, note=" ".join(given.note.split()))


def _dates(checked: Checked) -> None:
    given, item = checked.given, checked.given.item
    day = today(given.done_at)
    if _ahead(given):
        raise SwapRefused(f"The swap is dated {moment(given.done_at)}, and that is still to come. Check the date.", "done_at")
    if item.bought_on and day < item.bought_on:
        raise SwapRefused(f"{item} was bought on {day_words(item.bought_on)}: check the date.", "done_at")
    if given.done_at.year < 2000:
        raise SwapRefused("That date cannot be.", "done_at")
    if given.lot is not None and given.lot.bought_on and day < given.lot.bought_on:
        raise SwapRefused(f"That lot was bought on {day_words(given.lot.bought_on)}: check the date.", "done_at")
    if len(given.note) > 300:
        raise SwapRefused("Keep it under 301 characters.", "note")
    if given.type is None:
        return  # what is put away for good has its cells taken out
    if item.retired_on and day >= item.retired_on:
        raise SwapRefused(f"{item} was retired on {day_words(item.retired_on)}. Bring it back into use first.", "code")
    if item.gone_home_on and day >= item.gone_home_on:
        raise SwapRefused(f"{item} went home on {day_words(item.gone_home_on)}: it is not ours to fit.", "code")


def _bays(checked: Checked) -> None:
    given, item = checked.given, checked.given.item
    many = sets_of(item.type, checked.plan)
    if item.type.kind == Kind.CELL_SET:
        raise SwapRefused(f"{item} is a set of cells itself: scan the device it goes into.", "code")
    if not many:
        raise SwapRefused(f"{item} has no place for cells. If it has, say so on its type.", "bay")
    if not 1 <= given.bay <= many:
        place = "1 place" if many == 1 else f"{many} places"
        raise SwapRefused(f"{item} has {place} for a set: there is no place {given.bay}.", "bay")


def _same_swap(checked: Checked) -> None:
    """Two people with a phone each, one device: whoever is second is told, and nothing is written twice."""
    given = checked.given
    near = counting_swaps().filter(
        item=given.item,
        bay=given.bay,
        done_at__gte=given.done_at - SAME_SWAP,
        done_at__lte=given.done_at + SAME_SWAP,
    )
    if given.person is not None:
        # one person with two phones, or who taps twice: the same again within moments is the same; another cell is a correction
        mine = Q(person=given.person)
        again = Q(type=given.type) & ~Q(reason=SwapReason.FIRST, lot=None)
        moments = Q(done_at__gte=given.done_at - TAPPED_TWICE, done_at__lte=given.done_at + TAPPED_TWICE)
        near = near.filter(~mine | (again & moments))
    other = near.select_related("person").order_by("-done_at").first()
    if other is None or given.anyway or (other.type_id is None) != (given.type is None):
        return
    first, last = sorted((other.done_at, given.done_at))
    if counting_readings().filter(item=given.item, bay=given.bay, read_at__gt=first, read_at__lt=last).exists():
        return
    who = "" if other.person is None else " by you" if other.person == given.person else f" by {other.person}"
    raise SwapRefused(f"Done already{who} at {clock(other.done_at)}. Nothing was written.", "done_at", anyway=True)


def _late(checked: Checked) -> None:
    given = checked.given
    later = FittedSet.objects.filter(item=given.item, bay=given.bay, fitted_at__gt=given.done_at)
    newer = later.select_related("type").order_by("fitted_at").first()
    if newer is not None:
        what = f"{newer.type.name} was fitted {moment(newer.fitted_at)}, after the {moment(given.done_at)} you gave"
        now = "it is in it now" if newer.removed_at is None else f"it came out {moment(newer.removed_at)}"
        checked.unless(f"{what}; {now}. Was this swap noted late? Else check the time.", "done_at")


def _what_goes_in(checked: Checked, type_: CellType) -> None:
    given, item = checked.given, checked.given.item
    size = sizes_wanted([item.type])[item.type_id]
    if size and type_.size != size:
        raise SwapRefused(f"{item} takes {size}; {type_.name} is {type_.size}.", "lot" if given.lot else "type")
    if type_.system == System.ZINC_CARBON and checked.plan.transmitter:
        raise SwapRefused(
            f"{type_.name} runs a transmitter for minutes: take alkaline or lithium.", "lot" if given.lot else "type"
        )
    if type_.system == System.ZINC_CARBON:
        _for_a_show(checked, f"{type_.name} is not for shows: it holds little, and less in the cold.")
    if given.lot is not None:
        _lot(checked, given.lot)
    elif given.cell_set is not None:
        _labelled(checked, given.cell_set)
    if given.was_new is not True and given.lot is not None and given.lot.pool == Pool.REHEARSAL:
        _for_a_show(checked, "Part-used cells are for rehearsals: fit a fresh set for a show.")
    elif given.was_new is None:
        checked.words.append("Nobody knows what they have left: test them, and keep them to rehearsals.")
    _other_bays(checked, type_)


def _for_a_show(checked: Checked, words: str) -> None:
    """Refuse it for a show unless the person insists; at other times only say it."""
    if checked.given.show is not None:
        checked.unless(words, "lot" if checked.given.lot else "type")
    else:
        checked.words.append(words)


def _lot(checked: Checked, lot: CellLot) -> None:
    if lot.expires_on and lot.expires_on < today(checked.given.done_at):
        _for_a_show(checked, f"They expired on {day_words(lot.expires_on)}: for rehearsals only.")
    left = lot_left(lot)
    if left < (checked.given.cells or 0):
        has = f"had {left} left" if left > 0 else "was empty"
        checked.words.append(f"By the record that lot {has}. It is kept, as you had them in hand: count the lot.")


def _labelled(checked: Checked, cell_set: Item) -> None:
    given = checked.given
    if cell_set.type.kind != Kind.CELL_SET:
        raise SwapRefused(f"{cell_set} is no set of cells.", "cell_set")
    if cell_set.retired_on:
        raise SwapRefused(f"{cell_set} was retired on {day_words(cell_set.retired_on)}.", "cell_set")
    facts = getattr(cell_set.type, "cell_set_facts", None)
    if facts is not None and facts.cells and facts.cells != given.cells:
        raise SwapRefused(f"{cell_set} is {facts.cells} cells; a set of {given.item} is {given.cells}.", "cell_set")


def _other_bays(checked: Checked, type_: CellType) -> None:
    """Cells of one device are changed together and are of one make, type and age (IEC 60086-5)."""
    given = checked.given
    rows = FittedSet.objects.filter(item=given.item, fitted_at__lte=given.done_at).exclude(bay=given.bay)
    for other in rows.exclude(removed_at__lte=given.done_at).select_related("type", "lot").order_by("bay"):
        if abs(given.done_at - other.fitted_at) > TOGETHER:
            checked.words.append(f"Change bay {other.bay} too: cells of one device are changed together.")
            continue
        if other.type_id != type_.pk:
            raise SwapRefused(f"Bay {other.bay} has {other.type.name} in it: types are not mixed in one device.", "type")
        if other.was_new is not given.was_new:
            checked.unless(f"Old and new are not mixed in one device: what is in bay {other.bay} is otherwise.", "lot")
        mine, its = given.lot, other.lot
        if mine is not None and its is not None and mine.make and its.make and mine.make.lower() != its.make.lower():
            checked.unless(f"Bay {other.bay} has cells of another make: makes are not mixed in one device.", "lot")
        bought = [lot.bought_on for lot in (mine, its) if lot is not None and lot.bought_on]
        if len(bought) == 2 and abs(bought[0] - bought[1]) >= AGES_APART:
            checked.unless(f"The cells in bay {other.bay} are a year older or newer: ages are not mixed.", "lot")


def _what_comes_out(checked: Checked) -> None:
    given, here = checked.given, checked.here
    if given.out_volts is not None:
        if here is None:
            usual = CellType.objects.filter(key=given.item.type.cell_size).first()
            kind = kind_of(usual) if usual is not None else None
        else:
            kind = kind_of(here.type)
        if kind is not None:
            many = (here.cells if here else given.cells) or 1
            try:
                cells.checked_volts(kind, given.out_volts, many)
            except CellError as wrong:
                raise SwapRefused(str(wrong), "out_volts") from wrong
            if cells.reads_nothing(kind, given.out_volts, many):
                checked.unless(nothing_words(given.out_volts), "out_volts")
        elif not 0 <= given.out_volts <= 60:
            raise SwapRefused("A reading lies between 0 and 60 V.", "out_volts")
    if given.out_to == Pool.REHEARSAL and here is not None and here.cell_set_id is None:
        floor = here.type.floor_v
        if given.out_volts is None:
            checked.unless("Read them under load first: only tested cells go to the rehearsal pool.", "out_volts")
        elif floor is not None and given.out_volts < floor * here.cells:
            checked.unless(
                f"{given.out_volts:g} V is under {floor * here.cells:g} V: that goes to the recycling tub.", "out_to"
            )
    if given.out_to == Pool.NEW and here is not None and here.was_new is not True:
        raise SwapRefused("They were part-used when they went in: they do not go back among new ones.", "out_to")
    if given.reason == SwapReason.LEAKED:
        checked.words.append("Leaking or swollen: gloves, quarantine, and clean the contacts before a new set goes in.")
    if given.out_to == Pool.RECYCLE and here is not None and here.type.needs_taped and here.cell_set_id is None:
        checked.words.append("Tape the terminals before they go in the tub.")


def nothing_words(volts: float) -> str:
    """Ask about a reading that no cells give unless they are empty."""
    return f"{volts:g} V is what a meter reads that touches nothing: look at its leads and range. If it is so, say it again."


def again_words(swap: Swap) -> str:
    """Say what a swap was, for whoever sends it again."""
    who = f" by {swap.person}" if swap.person else ""
    return f"Noted{who} at {clock(swap.done_at)}."
