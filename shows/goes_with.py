"""What a pull list lacks beside what it names: a microphone wants a clip, a stand and a lead."""

from collections import defaultdict
from dataclasses import dataclass, field

from inventory.models import GearType, GoesWith
from shows.models import PullRow, Show


@dataclass(kw_only=True)
class Lacking:
    """So many more of a type and length, because of these types on the list."""

    type: GearType
    length_mm: int
    count: int
    because: list[str] = field(default_factory=list)


def goes_with_lacking(show: Show) -> list[Lacking]:
    """Propose what goes with the pull list's types and is not on it yet; two queries.

    Where a plan made rows of a type, it chose their lengths by the runs: leads of another length count as well.
    """
    have: dict[tuple[int, int], int] = defaultdict(int)
    planned: set[int] = set()
    for type_id, length, count, made in PullRow.objects.filter(show=show).values_list("type", "length_mm", "count", "made"):
        have[type_id, length] += count
        if made:
            planned.add(type_id)
    by_type: dict[int, int] = defaultdict(int)
    for (type_id, _length), count in have.items():
        by_type[type_id] += count
    wanted: dict[tuple[int, int], Lacking] = {}
    for rule in GoesWith.objects.filter(type__in=by_type).select_related("type", "needs").order_by("needs__name", "length_mm"):
        key = (rule.needs_id, rule.length_mm)
        lacking = wanted.setdefault(key, Lacking(type=rule.needs, length_mm=rule.length_mm, count=0))
        lacking.count += rule.count * by_type[rule.type_id]
        lacking.because.append(f"{by_type[rule.type_id]} {rule.type}")
    for (type_id, length), lacking in wanted.items():
        lacking.count -= have[type_id, length] if length and type_id not in planned else by_type[type_id]
    return [lacking for lacking in wanted.values() if lacking.count > 0]
