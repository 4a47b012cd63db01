"""Devices whose fresh cells died on them time after time: named, with what would end it. One query for many devices."""

from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from maintenance.calc.cell_advice import hours_down
from maintenance.calc.cell_words import SwapReason
from maintenance.models import FittedSet

LOOKED_AT, AT_LEAST, SHARE = 6, 3, 0.5  # of its newest fresh sets: so many died, and at least half
FAR = 50_000
MEASURE = "Measure its draw once, meter in series with the clip."


@dataclass(frozen=True, kw_only=True)
class Early:
    """How many of a device's newest fresh sets died in it, after how long, and what lasts longer."""

    died: int
    of: int
    hours: float
    fact: str
    instead: str = ""

    @property
    def words(self) -> str:
        return f"{self.fact} {MEASURE}{' ' if self.instead else ''}{self.instead}"


def early_deaths(items: Iterable[int]) -> dict[int, Early]:
    """Return {item: what is to be said} of devices that wore out fresh throw-away sets, most of their newest, before anybody
    swapped them. A set that leaked, or was not fresh, tells nothing."""
    rows = (
        FittedSet.objects.filter(item__in=list(items), was_new=True, removed_at__isnull=False, type__rechargeable=False)
        .exclude(removed_because=SwapReason.LEAKED)
        .filter(hours_used__gt=0)
        .order_by("-removed_at")
        .values_list("item", "removed_because", "hours_used", "type__name", "type__system")[:FAR]
    )
    newest: dict[int, list[tuple[str, float, str, str]]] = {}
    for item, because, hours, name, system in rows:
        mine = newest.setdefault(item, [])
        if len(mine) < LOOKED_AT:
            mine.append((because, hours, name, system))
    found = {}
    for item, mine in newest.items():
        dead = [one for one in mine if one[0] == SwapReason.DIED]
        if len(dead) >= AT_LEAST and len(dead) >= SHARE * len(mine):
            found[item] = _early(dead, len(mine))
    return found


def _early(dead: list[tuple[str, float, str, str]], of: int) -> Early:
    hours = median(one[1] for one in dead)
    named = dead[0][2] if len({one[2] for one in dead}) == 1 else "cells"
    fact = f"{len(dead)} of its last {of} fresh sets of {named} died in use, half of them within {max(1, hours_down(hours))} h."
    lithium = any(one[3].startswith("lithium") for one in dead)
    instead = "" if lithium else "Until then fit lithium: it lasts longer in what draws much."
    return Early(died=len(dead), of=of, hours=hours, fact=fact, instead=instead)
