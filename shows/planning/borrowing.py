"""What is short for a show and what would help: borrow it, take the second choice on a line, or ask the other show."""

from dataclasses import dataclass
from datetime import date

from company.clock import today
from inventory.models import GearType
from shows.calc.shortage import Left
from shows.models import Show
from shows.planning.advice import advice_of
from shows.planning.told import LineAdvice, ShowAdvice
from shows.progress import pull_progress
from shows.shortage import shortages_of, unmet


@dataclass(frozen=True, kw_only=True)
class Lacking:
    """A type and length that is short: how many, on which day, why; lines that could take their second choice instead."""

    type: GearType
    length_mm: int
    count: int
    day: date
    why: str
    rivals: tuple[tuple[int, str, int], ...]
    swaps: tuple[LineAdvice, ...]


def borrow_of(show: Show, advice: ShowAdvice | None = None) -> list[Lacking]:
    """Return what a show is short of; constant queries."""
    every = shortages_of([show]).get(show.pk, {})
    left = unmet(every, pull_progress(show, day=today()), unfit_too=True)
    short: dict[tuple[int, int], Left] = {key: worst for key, worst in left.items() if worst.short}
    if not short:
        return []
    types = GearType.objects.in_bulk({key[0] for key in short})
    advice = advice or advice_of(show)
    found = []
    for key, worst in sorted(short.items(), key=lambda pair: types[pair[0][0]].name):
        swaps = [
            one
            for one in advice.lines
            if one.is_ours and one.pickup and one.pickup.pk == key[0] and one.second and not _is_short(one.second.pk, every)
        ]
        found.append(
            Lacking(
                type=types[key[0]],
                length_mm=key[1],
                count=worst.short,
                day=worst.day,
                why=worst.why,
                rivals=worst.rivals,
                swaps=tuple(swaps),
            )
        )
    return found


def _is_short(type_: int, left: dict[tuple[int, int], Left]) -> bool:
    return any(worst.short for key, worst in left.items() if key[0] == type_)
