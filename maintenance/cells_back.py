"""What is asked when something that ran on its cells comes back: was it used at all, was a lead left in it."""

import uuid as uuids
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.http import HttpRequest

from company.clock import today
from company.models import Person
from inventory.models import Item
from inventory.registries import Panel, show_names
from maintenance.models import HoursNote, UseLedger
from maintenance.registries import used_when
from maintenance.services.cells import CellRefused, hours_note, hours_withdraw

LATELY = timedelta(days=7)  # so long it is still asked
SHOW = "show:"


def ran_on_cells(items: Iterable[int], day: date) -> set[int]:
    """Return which of these items ran on their cells at a show in the last days, in one query; none where none are asked."""
    wanted = list(items)
    if not wanted:
        return set()
    rows = UseLedger.objects.filter(
        item__in=wanted, fed_by="cells", basis="line", occasion__startswith=SHOW, day__gte=day - LATELY, day__lte=day
    )
    return set(rows.values_list("item", flat=True))


@dataclass(frozen=True, kw_only=True)
class CameBack:
    """The newest show a thing ran on its cells at: its name, its hours there, and what was told of it since."""

    occasion: str
    name: str
    hours: float
    off_at: datetime | None
    notes: tuple[HoursNote, ...]

    @property
    def unused(self) -> HoursNote | None:
        return next((note for note in self.notes if note.why == HoursNote.Why.UNUSED), None)

    @property
    def left_in(self) -> HoursNote | None:
        return next((note for note in self.notes if note.why == HoursNote.Why.LEFT_IN), None)


def came_back(item: Item, at: datetime) -> CameBack | None:
    """Return the newest show of the last days that a thing ran on its cells at; None where there is none."""
    day = today(at)
    row = (
        UseLedger.objects.filter(
            item=item, fed_by="cells", basis="line", occasion__startswith=SHOW, day__gte=day - LATELY, day__lte=day
        )
        .order_by("-day", "-pk")
        .first()
    )
    if row is None:
        return None
    key = int(row.occasion.removeprefix(SHOW))
    notes = HoursNote.objects.filter(item=item, occasion=row.occasion, withdrawn_at=None).order_by("-at", "-pk")
    when = used_when({row.occasion}).get(row.occasion)
    return CameBack(
        occasion=row.occasion,
        name=show_names([key])[key][0],
        hours=row.on_minutes / 60,
        off_at=when[1] if when else None,
        notes=tuple(notes),
    )


def told(*, uid: uuids.UUID, item: Item, do: str, hours: float | None, person: Person | None, at: datetime) -> str:
    """Note that a thing was not used at its newest show, that a lead was left in since (`hours`, else since the show's end),
    or take the newest such note back; answers a sentence. CellRefused in words."""
    back = came_back(item, at)
    if back is None:
        raise CellRefused(f"{item} ran on its cells at no show of the last days: there is nothing to note.", "code")
    if do == "take back":
        if not back.notes:
            raise CellRefused("There is nothing to take back.", "do")
        hours_withdraw(note=back.notes[0], at=at)
        return f"{item}: taken back. Its hours at {back.name} count as they did."
    if do == HoursNote.Why.UNUSED:
        if back.unused is None:
            hours_note(uid=uid, item=item, why=do, occasion=back.occasion, at=at, received_at=at, person=person)
        return f"{item} was not used at {back.name}: its set keeps those hours. Leave the cells in it."
    if do == HoursNote.Why.LEFT_IN:
        minutes = _minutes(back, hours, at)
        if back.left_in is not None and hours is None:
            return f"{item}: noted already, {back.left_in.minutes / 60:.0f} h with a lead in."
        # counted from the show's end, it is what it is; typed, it is asked about where it is hard to believe
        hours_note(
            uid=uid,
            item=item,
            why=do,
            minutes=minutes,
            occasion=back.occasion,
            at=at,
            received_at=at,
            person=person,
            anyway=hours is None,
        )
        since = "" if hours is not None else f", since {back.name} ended"
        return f"{item}: a lead was left in for about {minutes / 60:.0f} h{since}. Pull it out, or it goes on draining."
    raise CellRefused("Say that it was not used, or that a lead was left in.", "do")


def _minutes(back: CameBack, hours: float | None, at: datetime) -> int:
    if hours is not None:
        return round(hours * 60)
    if back.off_at is None or back.off_at >= at:
        raise CellRefused(f"{back.name} is not over yet: say how many hours on its own page.", "hours")
    return max(1, round((at - back.off_at).total_seconds() / 60))


def panel(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Ask on its own page about the show it came back from."""
    if not item.type.bays or item.retired_on or item.gone_home_on:
        return None
    back = came_back(item, at)
    if back is None or back.off_at is None or back.off_at > at:
        return None
    facts = getattr(item.type, "box_facts", None)
    return Panel(
        title="Came back",
        template="maintenance/swaps/_came_back.html",
        context={
            "back": back,
            "jack": facts is not None and facts.switched_by_input_jack,
            "uid": uuids.uuid4(),
            "hours_left_in": f"{back.left_in.minutes / 60:.0f}" if back.left_in else "",
        },
    )
