"""What is free of each type and length on a show's days: owned and fit, less what overlapping shows hold on the worst day."""

from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Sum

from shows.calc.tide import Hold, tides
from shows.calc.words import ShowState
from shows.models import PullRow, Show
from shows.shortage import stock_of

Key = tuple[int, int]


def free_of(show: Show, types: Iterable[int]) -> dict[Key, int]:
    """Return {(type, length in mm): how many are free for a show on its worst day}; three queries.

    A row of another show that asks for any length takes from the length there is most of.
    """
    types = sorted(set(types))
    stock = stock_of(types, show.hold_from)
    owned = {key: max(0, one.fit) for key, one in stock.items()}
    numbers = {key: number for number, key in enumerate(sorted(owned))}
    held: dict[tuple[int, int, int], int] = defaultdict(int)
    days: dict[int, tuple[int, int]] = {}
    rows = (
        PullRow.objects.filter(
            type__in=types,
            show__state=ShowState.PLANNED,
            show__hold_from__lte=show.hold_until,
            show__hold_until__gte=show.hold_from,
        )
        .exclude(show=show.pk)
        .order_by("show", "type", "length_mm")
        .values_list("show", "show__hold_from", "show__hold_until", "type", "length_mm")
        .annotate(total=Sum("count"))
    )
    for other, first, last, type_, length, total in rows:
        key = (type_, length) if (type_, length) in owned else _most(owned, type_)
        if key is not None:
            held[other, *key] += total
            days[other] = (first.toordinal(), last.toordinal())
    holds = [
        Hold(key=numbers[type_, length], show=other, first=days[other][0], last=days[other][1], count=count)
        for (other, type_, length), count in held.items()
    ]
    first, last = show.hold_from.toordinal(), show.hold_until.toordinal()
    left = tides(holds, {numbers[key]: count for key, count in owned.items()}, first=first, last=last)
    return {key: max(0, int(left[number].min())) for key, number in numbers.items()}


def _most(owned: dict[Key, int], type_: int) -> Key | None:
    mine = [key for key in owned if key[0] == type_]
    return max(mine, key=lambda key: owned[key], default=None)
