"""Every powered device with what is left in it against what its next show asks, and why it wants a person. Constant queries."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from django.db.models import Max, Q, QuerySet
from django.utils import timezone

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc.cell_advice import LINE_LIMITS, behind_phantom, hours_up, said_left, sentence
from maintenance.calc.cell_forecast import chance_of_dying
from maintenance.calc.cell_words import Advice
from maintenance.calc.swap_list import Advised
from maintenance.cell_between import COMING
from maintenance.cell_early import Early, early_deaths
from maintenance.cell_needs import lists_of
from maintenance.cell_state import BayState, state_of
from maintenance.models import UseLedger
from maintenance.registries import DeviceNeed, ShowNeeds, coming_needs
from maintenance.services.cell_types import shipped

AHEAD = timedelta(days=60)
CELLS, PHANTOM = "cells", "phantom"
# key: of one device, of more
TROUBLES = {
    "below": ("may not last its next show", "may not last their next show"),
    "empty": ("has no cells in and a show asks for it", "have no cells in and a show asks for them"),
    "early": ("dies early on fresh cells", "die early on fresh cells"),
    "unknown": ("not known what is left", "not known what is left"),
    "expired": ("past the date on the cells", "past the date on the cells"),
    "stored": ("put away with cells in", "put away with cells in"),
}


@dataclass(frozen=True, kw_only=True)
class NextUse:
    """The next show that names a device, and what it asks of it."""

    show: ShowNeeds
    need: DeviceNeed


@dataclass(frozen=True, kw_only=True)
class FleetRow:
    """One bay of one device (a pack: bay 0), what its next show asks, why it wants a person (`troubles`: keys of TROUBLES).

    `chance` is that of dying within the need of its next show; none where it is not fed by cells there, or nothing is known.
    """

    item: Item
    state: BayState
    next: NextUse | None
    chance: float | None
    troubles: tuple[str, ...]
    why: str
    last_on: date | None
    advised: Advised | None = None  # what the swap list of its next show says
    early: Early | None = None

    @property
    def need_h(self) -> float | None:
        return self.next.need.need_h if self.next and self.next.need.feed == CELLS else None

    @property
    def turn(self) -> tuple[int, float, float, str, int]:
        """Return its place in the list: what wants a person first, then by the chance of dying, then by hours left at least.

        What was never written down comes last, save where a show asks for it on cells: a new shop has a hundred such.
        """
        if {"below", "empty"} & set(self.troubles):
            rank = 0
        elif self.need_h and self.troubles:
            rank = 1
        elif set(self.troubles) - {"unknown"}:
            rank = 2
        else:
            rank = 4 if "unknown" in self.troubles else 3
        left = self.state.life.low_h if self.state.life else 0.0
        return rank, -(self.chance or 0.0), left, self.item.label.lower(), self.state.bay


def powered() -> QuerySet[Item]:
    """Return the things that cells or packs of their own feed and that are ours to feed, by type and name."""
    packs = [plan["type"] for plan in shipped()["plans"] if plan.get("full_charge_h")]
    fed = Q(type__bays__gt=0) | Q(type__cell_plan__full_charge_h__isnull=False) | Q(type__key__in=packs)
    rows = Item.objects.filter(fed, retired_on=None, gone_home_on=None).exclude(type__kind=Kind.CELL_SET)
    return rows.select_related("type", "home", "in_case__type").order_by("type__name", "name", "code")


def next_uses(at: datetime) -> dict[int, NextUse]:
    """Return {item: the next show that names it}; of several lines of one show the longest that cells feed."""
    found: dict[int, NextUse] = {}
    for show in coming_needs(at, at + AHEAD):
        mine: dict[int, DeviceNeed] = {}
        for need in show.needs:
            if need.item is None or need.item.pk in found:
                continue
            before = mine.get(need.item.pk)
            if before is None or (need.feed == CELLS, need.need_h) > (before.feed == CELLS, before.need_h):
                mine[need.item.pk] = need
        found.update({pk: NextUse(show=show, need=need) for pk, need in mine.items()})
    return found


def fleet(items: Sequence[Item], at: datetime, uses: dict[int, NextUse] | None = None) -> list[FleetRow]:
    """Return a row for each bay of these things, what wants a person first, advised as its show's list has it.

    Constant queries.
    """
    states = state_of(items, at)
    uses = next_uses(at) if uses is None else uses
    last = last_used([item.pk for item in items])
    early = early_deaths([item.pk for item in items])
    advised = _advised([uses[item.pk] for item in items if item.pk in uses], at)
    rows = [
        row_of(
            state,
            uses.get(item.pk),
            last.get(item.pk),
            at,
            advised=advised.get((uses[item.pk].show.key, item.pk, state.bay)) if item.pk in uses else None,
            early=early.get(item.pk),
        )
        for item in items
        for state in states.get(item.pk, ())
    ]
    return sorted(rows, key=lambda row: row.turn)


def _advised(uses: Sequence[NextUse], at: datetime) -> dict[tuple[int, int, int], Advised]:
    """Return what the swap lists of these shows say of each bay: the limit is shared over its lines, so all are read."""
    shows = list({use.show.key: use.show for use in uses if use.need.feed == CELLS}.values())
    found = {}
    for listed in lists_of(shows, at) if shows else ():
        for row in listed.rows:
            if row.item is not None and row.need.feed == CELLS:
                found[listed.needs.key, row.item.pk, row.advised.device.bay] = row.advised
    return found


def last_used(items: Iterable[int]) -> dict[int, date]:
    """Return {item: the last day it was on a line}."""
    rows = UseLedger.objects.filter(item__in=list(items), state="done").order_by()
    return {item: day for item, day in rows.values_list("item").annotate(day=Max("day")) if day is not None}


def row_of(
    state: BayState,
    use: NextUse | None,
    last_on: date | None,
    at: datetime,
    *,
    advised: Advised | None = None,
    early: Early | None = None,
) -> FleetRow:
    """Return one row with its sentence."""
    life = state.life
    need = use.need if use and use.need.feed == CELLS else None
    chance = chance_of_dying(life, need.need_h) if life is not None and need is not None else None
    troubles = []
    swaps = advised is not None and (advised.advice is Advice.SWAP or (chance is not None and chance > advised.limit))
    if early is not None and state.kind is not None and state.kind.system.startswith("lithium"):
        early = replace(early, instead="")  # done already
    above = chance is not None and need is not None and advised is None and chance > LINE_LIMITS[need.stakes]
    if state.empty and need is not None:
        troubles.append("empty")
    elif need is not None and chance is not None and (swaps or above or state.below_floor):
        troubles.append("below")
    if early is not None:
        troubles.append("early")
    if life is None and not state.empty:
        troubles.append("unknown")
    if state.expired:
        troubles.append("expired")
    if stored_since(state, use, last_on, at) is not None:
        troubles.append("stored")
    return FleetRow(
        item=state.item,
        state=state,
        next=use,
        chance=chance,
        troubles=tuple(troubles),
        why=f"{advised.why.rstrip('.')}." if advised is not None else _why(state, use, chance),
        last_on=last_on,
        advised=advised,
        early=early,
    )


def stored_since(state: BayState, use: NextUse | None, last_on: date | None, at: datetime) -> date | None:
    """Return since when a device lies unused with cells in, past the weeks its type allows: the question of `between_shows`.

    None where it does not, or where a show takes it along soon.
    """
    fitted, item = state.fitted, state.item
    if fitted is None or item.custody or item.lent_to or item.missing_since:
        return None
    since = max([day_of(fitted.fitted_at), *([last_on] if last_on else [])])
    if use is not None and use.show.load_in <= at + COMING:
        return None
    return since if day_of(at) - since > timedelta(weeks=state.plan.stored_weeks) else None


def day_of(at: datetime) -> date:
    """Return an instant's day in the zone of whoever looks, without asking for the company each time."""
    return timezone.localtime(at).date()


def _why(state: BayState, use: NextUse | None, chance: float | None) -> str:
    life = state.life
    if use is None:
        return f"{said_left(life)}. No show asks for it in the next two months." if life else _fault(state)
    name, need = use.show.name, use.need
    if need.feed == PHANTOM:
        words = behind_phantom(life, known=state.fitted is not None or state.empty)
        return f"{name}: {words}." if life or state.fitted is None else f"{name}: behind phantom. {_fault(state)}"
    if need.feed != CELLS:
        return f"{name}: on the mains."
    if life is None:
        return f"{name} needs {hours_up(need.need_h)} h. {_fault(state)}"
    return f"{sentence(life, need.need_h, name, LINE_LIMITS[need.stakes])}."


def _fault(state: BayState) -> str:
    return state.fault or "Nobody can tell what is left."
