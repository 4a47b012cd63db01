"""Lots of cells: bought, counted, taken from and put back into. The moves are the stock; a mistake is a new move."""

import uuid as uuids
from datetime import date, datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum
from django.utils import timezone

from company.clock import today
from company.models import Person
from company.templatetags.tape import day as day_words
from inventory.models import Place
from maintenance.calc.cell_words import Pool
from maintenance.models import CellLot, CellMove, CellType
from maintenance.services.cell_refused import CellRefused

MOST = 100_000
OWN = timedelta(days=1)  # a hand takes back what they noted themselves, so long
POOL_WORDS = {
    Pool.NEW: "new",
    Pool.REHEARSAL: "part-used, for rehearsals",
    Pool.CHARGE: "on charge",
    Pool.RECYCLE: "in the recycling tub",
    Pool.QUARANTINE: "in quarantine: gloves",
}


def lot_left(lot: CellLot) -> int:
    """Return how many the moves leave in a lot."""
    return lot.moves.aggregate(n=Sum("delta"))["n"] or 0


def lot_add(
    *,
    uid: uuids.UUID,
    type: CellType,
    count: int,
    at: datetime,
    person: Person | None,
    bought_on: date | None = None,
    price_cents: int | None = None,
    expires_on: date | None = None,
    make: str = "",
    place: Place | None = None,
    note: str = "",
    anyway: bool = False,
) -> CellLot:
    """Enter a lot that was bought, once a uid; answers it. Raises CellRefused with a field and a sentence.

    `anyway`: they had run out before they were bought, as what somebody gives away has.
    """
    known = CellMove.objects.filter(uid=uid).select_related("lot__type").first()
    if known is not None:
        return known.lot
    day = today(at)
    if not 1 <= count <= MOST:
        raise CellRefused(f"Between 1 and {MOST:,} cells make a lot.", "count")
    if bought_on and bought_on > day:
        raise CellRefused(f"Bought on {day_words(bought_on)}: that is still to come.", "bought_on")
    if expires_on and bought_on and expires_on <= bought_on and not anyway:
        raise CellRefused(
            "They had expired before they were bought: check the two dates. If it is so, they are for rehearsals only.",
            "expires_on",
            anyway=True,
        )
    if expires_on and not 2000 <= expires_on.year <= 2100:
        raise CellRefused("That date of expiry cannot be.", "expires_on")
    lot = CellLot(
        type=type,
        bought_on=bought_on,
        price_cents=price_cents,
        expires_on=expires_on,
        make=" ".join(make.split()),
        place=place,
        note=" ".join(note.split()),
        added_at=at,
    )
    try:
        lot.full_clean()
    except ValidationError as wrong:
        where, words = next(iter(wrong.message_dict.items()))
        raise CellRefused(" ".join(words), "" if where == "__all__" else where) from wrong
    with transaction.atomic():
        lot.save(force_insert=True)
        CellMove.objects.create(uid=uid, lot=lot, delta=count, why=CellMove.Why.BOUGHT, at=at, person=person)
    return lot


def lot_count(*, uid: uuids.UUID, lot: CellLot, count: int, at: datetime, person: Person | None) -> tuple[int, str]:
    """Set a lot to what was counted in it, once a uid; answers the difference and a sentence."""
    if not 0 <= count <= MOST:
        raise CellRefused(f"Count between 0 and {MOST:,}.", "count")
    with transaction.atomic():
        lot = CellLot.objects.select_for_update(of=("self",), no_key=True).select_related("type").get(pk=lot.pk)
        known = CellMove.objects.filter(uid=uid).first()
        off = known.delta if known else count - lot_left(lot)
        if known is None:
            CellMove.objects.create(uid=uid, lot=lot, delta=off, why=CellMove.Why.COUNTED, at=at, person=person)
    if not off:
        return 0, f"{count} {lot.type.name}: as the record had it."
    return off, f"{count} {lot.type.name} counted: {abs(off)} {'more' if off > 0 else 'fewer'} than the record had."


def lot_take_out(
    *, uid: uuids.UUID, lot: CellLot, count: int, at: datetime, person: Person | None, to: Pool = Pool.RECYCLE
) -> int:
    """Take cells of a lot to the recycling tub, the rehearsal pool or quarantine; from a tub out of the house. Once a uid."""
    if not 1 <= count <= MOST:
        raise CellRefused("Say how many.", "count")
    with transaction.atomic():
        lot = CellLot.objects.select_for_update(of=("self",), no_key=True).select_related("type").get(pk=lot.pk)
        if CellMove.objects.filter(uid=uid).exists():
            return lot_left(lot)
        left = lot_left(lot)
        if count > left:
            raise CellRefused(f"There are {left} in it. Count it first if that is wrong.", "count")
        CellMove.objects.create(uid=uid, lot=lot, delta=-count, why=CellMove.Why.RECYCLED, at=at, person=person)
        if lot.pool != to:
            other = pool_lot(type_id=lot.type_id, pool=to, at=at)
            CellMove.objects.create(
                uid=uuids.uuid5(uid, "put"), lot=other, delta=count, why=CellMove.Why.RETURNED, at=at, person=person
            )
    return left - count


UNDOABLE = (CellMove.Why.COUNTED, CellMove.Why.RECYCLED)


def move_undo_refused(move: CellMove, *, person: Person | None, at: datetime) -> str:
    """Return why somebody may not take a count or a taking out back; empty where they may."""
    if move.why not in UNDOABLE:
        return "A swap is taken back on its device's page; a lot that was bought is counted."
    if person is None or person.is_technician or (move.person_id == person.pk and at - move.at <= OWN):
        return ""
    return "Somebody else noted that, or more than a day ago: ask a technician to take it back."


def move_undo(*, move: CellMove, person: Person | None, at: datetime) -> str:
    """Take a count, or a taking out, back by moves that undo it; asked twice, once. CellRefused in words."""
    refused = move_undo_refused(move, person=person, at=at)
    if refused:
        raise CellRefused(refused)
    with transaction.atomic():
        put = CellMove.objects.filter(uid=uuids.uuid5(move.uid, "put")).first()
        keys = [move.lot_id, *([put.lot_id] if put else [])]
        lots = CellLot.objects.select_for_update(of=("self",), no_key=True).select_related("type").filter(pk__in=keys)
        held = {lot.pk: lot for lot in lots.order_by("pk")}
        lot = held[move.lot_id]
        if not CellMove.objects.filter(uid=uuids.uuid5(move.uid, "undone")).exists():
            if put is not None and lot_left(held[put.lot_id]) < put.delta:
                where = POOL_WORDS[Pool(held[put.lot_id].pool)]
                raise CellRefused(f"They are no longer {where}: count this lot instead.")
            CellMove.objects.bulk_create(
                CellMove(
                    uid=uuids.uuid5(one.uid, "undone"),
                    lot_id=one.lot_id,
                    delta=-one.delta,
                    why=CellMove.Why.UNDONE,
                    at=at,
                    person=person,
                )
                for one in (move, *([put] if put else []))
            )
        return f"Taken back: {lot_left(lot)} in {lot_words(lot)}."


def pool_lot(*, type_id: int, pool: Pool, at: datetime) -> CellLot:
    """Return the one lot of a type in a pool, made when first needed."""
    found = CellLot.objects.filter(type_id=type_id, pool=pool).order_by("pk").first()
    return found or CellLot.objects.create(type_id=type_id, pool=pool, added_at=at)


def lot_words(lot: CellLot) -> str:
    """Name a lot as people do: the lot of June; the rehearsal pool."""
    if lot.pool == Pool.REHEARSAL:
        return "the rehearsal pool"
    if lot.pool != Pool.NEW:
        return f"cells {POOL_WORDS[Pool(lot.pool)]}"
    if lot.bought_on is None:
        return "a lot of no known day"
    year = "" if lot.bought_on.year == timezone.localdate().year else f" {lot.bought_on.year}"
    return f"the lot of {lot.bought_on:%B}{year}"
