"""On-hours that people tell: logged, left plugged in, not used after all. Once a uid; a mistake is taken back."""

import uuid as uuids
from datetime import datetime

from django.db import transaction

from company.models import Person
from company.templatetags.tape import moment
from inventory.models import Item
from maintenance.calc.cell_advice import hours_up
from maintenance.cell_evidence import cached_life
from maintenance.models import FittedSet, HoursNote, UseLedger
from maintenance.services.cell_reckon import item_cells_reckon
from maintenance.services.cell_refused import CellRefused
from maintenance.services.cell_told import dated, held
from maintenance.services.cell_types import plan_of, sets_of

MOST_MINUTES = 100_000
SLACK_H = 1.0  # clocks and memories


def hours_note(
    *,
    uid: uuids.UUID,
    item: Item,
    why: str,
    minutes: int = 0,
    occasion: str = "",
    at: datetime,
    received_at: datetime,
    person: Person | None,
    anyway: bool = False,
) -> HoursNote:
    """Note on-hours somebody told, once a uid: `logged` (for an occasion: in its place), `left in` (added), `unused` after all.

    `occasion` is the ledger's name of a show (`show:17`). More hours than there were are refused; more than its cells had left
    are asked about (`anyway`). Raises CellRefused with a field and a sentence.
    """
    with transaction.atomic():
        item = held(item)
        known = HoursNote.objects.filter(uid=uid).first()
        if known is not None:
            return known
        dated(item, at, received_at, "at", "note")
        if why not in HoursNote.Why.values:
            raise CellRefused("Hours were logged, left plugged in, or not used.", "why")
        plan = plan_of([item.type])[item.type_id]
        if not sets_of(item.type, plan) and not plan.full_charge_h:
            raise CellRefused(f"{item} does not run on cells.", "code")
        if why == HoursNote.Why.UNUSED:
            minutes = 0
            if not occasion:
                raise CellRefused("Say which show it was not used at.", "occasion")
        elif not 0 < minutes <= MOST_MINUTES:
            raise CellRefused("Say how long it was on: between a minute and 1600 hours.", "minutes")
        if minutes:
            _believable(item, minutes / 60, min(at, received_at), anyway=anyway)
        if occasion and why != HoursNote.Why.LEFT_IN:
            if not UseLedger.objects.filter(item=item, occasion=occasion).exists():
                raise CellRefused(f"{item} was not on a line at that show.", "occasion")
            HoursNote.objects.filter(item=item, occasion=occasion, withdrawn_at=None).exclude(why=HoursNote.Why.LEFT_IN).update(
                withdrawn_at=received_at
            )
        note = HoursNote.objects.create(
            uid=uid,
            item=item,
            why=why,
            minutes=minutes,
            occasion=occasion[:40],
            at=min(at, received_at),
            person=person,
        )
        item_cells_reckon(item=item, at=received_at)
    return note


def hours_withdraw(*, note: HoursNote, at: datetime) -> None:
    """Take a note of hours back; asked twice, once."""
    with transaction.atomic():
        item = held(note.item)
        if HoursNote.objects.filter(pk=note.pk, withdrawn_at=None).update(withdrawn_at=at):
            item_cells_reckon(item=item, at=at)


def _believable(item: Item, hours: float, off_at: datetime, *, anyway: bool) -> None:
    """Refuse hours on that its cells were not even in it for, and ask about more than they had left."""
    rows = FittedSet.objects.filter(item=item, fitted_at__lte=off_at).exclude(removed_at__lte=off_at)
    sets = list(rows.select_related("type").order_by("fitted_at"))
    if not sets:
        return
    since = (off_at - sets[0].fitted_at).total_seconds() / 3600
    if hours > since + SLACK_H:
        raise CellRefused(
            f"{hours:.4g} h cannot be: what is in it was fitted {moment(sets[0].fitted_at)}, {hours_up(since)} h before that.",
            "minutes",
        )
    if anyway:
        return
    life = cached_life(sets[0])
    if life is not None and not sets[0].type.rechargeable and hours > life.high_h:
        raise CellRefused(
            f"{hours:.4g} h is more than it had left, {life.low_h:.0f} to {hours_up(life.high_h)} h: after that it is empty. "
            "If it was on so long, say it again, and swap its cells.",
            "minutes",
            anyway=True,
        )
