"""Is a case packed as planned? The plan and what lies in it, compared by type and length."""

from collections.abc import Mapping
from dataclasses import dataclass

# A type's key and a length in millimetres.
Sort = tuple[int, int]


@dataclass(frozen=True, kw_only=True)
class PackLine:
    """One type and length: so many planned, so many in the case."""

    type_id: int
    length_mm: int
    planned: int
    packed: int

    @property
    def short(self) -> int:
        return max(self.planned - self.packed, 0)

    @property
    def extra(self) -> int:
        return max(self.packed - self.planned, 0)


@dataclass(frozen=True, kw_only=True)
class Packed:
    """A case against its plan. Without a plan nothing is short and nothing is extra."""

    lines: tuple[PackLine, ...]
    has_plan: bool

    @property
    def planned(self) -> int:
        return sum(line.planned for line in self.lines)

    @property
    def packed(self) -> int:
        return sum(line.packed for line in self.lines)

    @property
    def right(self) -> int:
        """Return how many of the planned things are in the case."""
        return sum(min(line.planned, line.packed) for line in self.lines)

    @property
    def short(self) -> int:
        return sum(line.short for line in self.lines) if self.has_plan else 0

    @property
    def extra(self) -> int:
        return sum(line.extra for line in self.lines) if self.has_plan else 0

    @property
    def short_lines(self) -> tuple[PackLine, ...]:
        return tuple(line for line in self.lines if line.short) if self.has_plan else ()

    @property
    def extra_lines(self) -> tuple[PackLine, ...]:
        return tuple(line for line in self.lines if line.extra) if self.has_plan else ()

    @property
    def as_planned(self) -> bool:
        return self.has_plan and not self.short and not self.extra


def pack_compare(*, plan: Mapping[Sort, int], packed: Mapping[Sort, int]) -> Packed:
    """Compare what a case should hold with what lies in it; planned lines first, in the plan's order."""
    sorts = [*plan, *(sort for sort in packed if sort not in plan)]
    return Packed(
        lines=tuple(
            PackLine(type_id=sort[0], length_mm=sort[1], planned=plan.get(sort, 0), packed=packed.get(sort, 0))
            for sort in sorts
            if plan.get(sort, 0) or packed.get(sort, 0)
        ),
        has_plan=bool(plan),
    )
