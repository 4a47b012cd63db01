"""What making a pull list would do: the plan's rows against those on the list, whoever wrote them."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace

from company.templatetags.tape import metres
from inventory.calc.kinds import Kind
from shows.models import PullRow, Show, StagePlan
from shows.planning.pulling import Planned, rows_planned
from shows.progress import PullLine, pull_progress
from shows.services.pull import MOST_ROWS

Key = tuple[int, int]
SAME = ("type_id", "length_mm", "count", "item_id", "reason", "feed", "critical", "line")
# what only lines ask for: a lead or a stand more than they need may be wanted for something no plan knows
FOR_LINES = frozenset({Kind.INTERFACE_BOX, Kind.MICROPHONE, Kind.TRANSMITTER, Kind.RECEIVER})
ON_LIST = {
    PullRow.Origin.HAND: "typed",
    PullRow.Origin.RIG: "from a rig",
    PullRow.Origin.GOES_WITH: "goes with something",
    PullRow.Origin.SWAPPED: "swapped in",
    PullRow.Origin.IMPORT: "from a copied list",
    PullRow.Origin.PLAN: "from a copied list",
}


@dataclass(frozen=True, kw_only=True)
class Change:
    """A row the planner wrote, what it says now, and what is new about it in words."""

    row: PullRow
    planned: Planned
    words: str


@dataclass(frozen=True, kw_only=True)
class Stays:
    """A row that stays against the plan, and why."""

    row: PullRow
    why: str


@dataclass(frozen=True, kw_only=True)
class Covered:
    """So many that the plan asks for and the list has already."""

    planned: Planned
    count: int
    why: str


@dataclass(frozen=True, kw_only=True)
class Beyond:
    """A rig's row with more than any line asks for: so many of its count would do. `have`: the lines have theirs elsewhere."""

    row: PullRow
    keep: int
    have: bool = False


@dataclass(kw_only=True)
class Making:
    """What making the list adds, changes and removes; what it keeps, and what it leaves alone."""

    added: list[Planned] = field(default_factory=list)
    changed: list[Change] = field(default_factory=list)
    removed: list[Stays] = field(default_factory=list)
    kept: list[Stays] = field(default_factory=list)
    covered: list[Covered] = field(default_factory=list)
    left_out: list[Planned] = field(default_factory=list)
    beyond: list[Beyond] = field(default_factory=list)
    reworded: list[Change] = field(default_factory=list)  # what is asked for is the same: only a reason's figures moved
    same: int = 0
    planned: int = 0
    rows: int = 0

    @property
    def nothing(self) -> bool:
        return not (self.added or self.changed or self.removed)

    @property
    def too_many(self) -> bool:
        return self.rows + len(self.added) - len(self.removed) > MOST_ROWS


def making_of(show: Show) -> Making:
    """Compare what the plan asks for with what the list says; a constant number of queries."""
    planned = rows_planned(show)
    rows = list(PullRow.objects.filter(show=show).select_related("type", "item__type"))
    plan = StagePlan.objects.filter(show=show).only("left_out").first()
    return compared(planned, rows, left_out=set(plan.left_out if plan else ()), lines=lambda: pull_progress(show))


def compared(planned: list[Planned], rows: list[PullRow], *, left_out: set[str], lines) -> Making:  # type: ignore[no-untyped-def]
    """Compare planned rows with a list's. `lines`: how far it is packed, asked only where a row would be removed."""
    made = Making(planned=len(planned), rows=len(rows))
    there = {row.made: row for row in rows if row.made}
    wanted = _uncovered(planned, [row for row in rows if not row.made], made, there, left_out)
    keys = {one.key for one in wanted}
    _unwanted([row for key, row in there.items() if key not in keys], made, lines)
    stays = [row for row in rows if not row.made or _touched(row)] + [each.row for each in made.kept]
    taken = {row.item_id for row in stays if row.item_id}
    for one in wanted:
        row = there.get(one.key)
        if row is not None and _touched(row):
            made.kept.append(Stays(row=row, why=_why_kept(row)))
            continue
        if one.item is not None and one.item.pk in taken:
            one = replace(one, item=None)  # another row names that thing
        if one.item is not None:
            taken.add(one.item.pk)
        if row is None:
            made.added.append(one)
        elif words := _words(row, one):
            made.changed.append(Change(row=row, planned=one, words=words))
        elif row.reason != one.reason:
            made.reworded.append(Change(row=row, planned=one, words=""))
            made.same += 1
        else:
            made.same += 1
    return made


def _uncovered(
    planned: list[Planned], others: list[PullRow], made: Making, there: dict[str, PullRow], left_out: set[str]
) -> list[Planned]:
    """Take off what the list has from elsewhere: a named thing by its own row, the rest by type and length."""
    have: dict[Key, int] = Counter()
    origins: dict[Key, set[str]] = defaultdict(set)
    for row in others:
        key = (row.type_id, row.length_mm)
        have[key] += row.count
        origins[key].add(ON_LIST.get(PullRow.Origin(row.origin), "on the list") + (f" ({row.reason})" if row.reason else ""))
    named = {row.item_id: row for row in others if row.item_id}
    wanted: list[Planned] = []
    # what nobody promised a thing to is covered first, so that a promise keeps its row where it can
    left: dict[str, Planned] = {}
    for one in sorted(planned, key=lambda one: (one.item is not None and one.item.pk not in named, one.item is not None)):
        key = (one.type.pk, one.length_mm)
        if one.key in left_out and one.key not in there:
            made.left_out.append(one)
            continue
        ours = there.get(one.key)
        if ours is not None and _touched(ours):
            left[one.key] = one
            continue
        covered = min(one.count, have[key])
        if covered:
            have[key] -= covered
            said = "; ".join(sorted(origins[key])[:2])
            made.covered.append(Covered(planned=one, count=covered, why=f"{covered} on the list already: {said}"))
        if one.count > covered:
            left[one.key] = replace(one, count=one.count - covered)
    if any(one.line for one in planned):
        made.beyond = _beyond(others, have, {(one.type.pk, one.type.kind) for one in planned})
    order = {one.key: number for number, one in enumerate(planned)}
    wanted = sorted(left.values(), key=lambda one: order[one.key])
    made.left_out.sort(key=lambda one: order[one.key])
    made.covered.sort(key=lambda one: order[one.planned.key])
    return wanted


def _beyond(others: list[PullRow], have: dict[Key, int], asked: set[tuple[int, str]]) -> list[Beyond]:
    """Return the rigs' rows that hold what no line took; `have` is what was not taken, by type and length, `asked` the types
    the plan asks for: leads of such a type are the runs' own, in the lengths that make them."""
    rest, found = dict(have), []
    for row in reversed(others):
        key = (row.type_id, row.length_mm)
        is_asked = (row.type_id, row.type.kind) in asked
        is_run = is_asked and row.type.kind == Kind.LEAD
        if row.origin != PullRow.Origin.RIG or row.item_id or not (is_run or row.type.kind in FOR_LINES):
            continue
        if over := min(row.count, rest[key]):
            rest[key] -= over
            found.append(Beyond(row=row, keep=row.count - over, have=is_asked))
    return found[::-1]


def _unwanted(rows: list[PullRow], made: Making, lines) -> None:  # type: ignore[no-untyped-def]
    out: dict[int, PullLine] = {pk: line for line in lines() for pk in line.row_ids} if rows else {}
    for row in rows:
        line = out.get(row.pk)
        if _touched(row):
            made.kept.append(Stays(row=row, why=_why_kept(row)))
        elif line is not None and line.out > line.wanted - row.count:
            made.kept.append(Stays(row=row, why="the plan wants it no more, but it is out with the show"))
        else:
            made.removed.append(Stays(row=row, why="the plan wants it no more, or the list has it from elsewhere"))


def _touched(row: PullRow) -> bool:
    return row.by_hand or row.origin == PullRow.Origin.SWAPPED


def _why_kept(row: PullRow) -> str:
    return "changed by hand" if row.by_hand else "a spare took its place"


def _values(one: Planned) -> dict[str, object]:
    return {
        "type_id": one.type.pk,
        "length_mm": one.length_mm,
        "count": one.count,
        "item_id": one.item.pk if one.item else None,
        "reason": one.reason,
        "feed": one.feed,
        "critical": one.critical,
        "line": one.line,
    }


def _words(row: PullRow, one: Planned) -> str:
    """Say what is new about a row; empty: nothing is."""
    new = _values(one)
    differs = [name for name in SAME if getattr(row, name) != new[name]]
    said = []
    if "type_id" in differs:
        said.append(f"was {row.type.name}")
    if "item_id" in differs:
        said.append(f"was {row.item.label}" if row.item else f"now {one.name}")
    if "count" in differs:
        said.append(f"was {row.count}")
    if "length_mm" in differs:
        said.append(f"was {metres(row.length_mm) or 'of no length'}")
    if "line" in differs:
        said.append(f"was for line {row.line}" if row.line else f"now for line {one.line}")
    if "feed" in differs:
        said.append(f"was fed by {row.feed or 'nothing'}")
    if "critical" in differs:
        said.append(f"was {row.critical}")
    return ", ".join(said)
