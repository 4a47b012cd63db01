"""A counted line's ledger in plain words: one sentence a move, the newest first."""

import uuid
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from inventory.calc.kinds import CountCondition
from inventory.models import CountedLine, CountMove
from inventory.registries import show_names
from inventory.services.counted import undo_of

Why = CountMove.Why
Names = Mapping[int | None, tuple[str, str]]


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One move: what happened, what lay on the shelf after it, and whether it was taken back."""

    uid: uuid.UUID
    at: datetime
    said: str
    who: str
    note: str
    code: str
    on_shelf: int
    undone: bool
    is_undo: bool


def ledger_of(line: CountedLine) -> list[Entry]:
    """Return every move of a line, the newest first: two queries."""
    moves: dict[uuid.UUID, list[CountMove]] = defaultdict(list)
    for row in line.moves.select_related("person").order_by("happened_at", "pk"):
        moves[row.uid].append(row)
    names = show_names(row.show for rows in moves.values() for row in rows)
    undoing = {undo_of(uid): uid for uid in moves}
    entries: list[Entry] = []
    on_shelf = 0
    for uid, rows in moves.items():
        on_shelf += sum(row.delta for row in rows if row.condition == CountCondition.GOOD)
        first = rows[0]
        undoes = undoing.get(uid)
        said = f"Taken back: {move_words(moves[undoes], names)}" if undoes else move_words(rows, names)
        entries.append(
            Entry(
                uid=uid,
                at=first.happened_at,
                said=said[:1].upper() + said[1:],
                who=str(first.person or ""),
                note="" if undoes or first.why == Why.LABELLED else first.note,
                code=first.note if first.why == Why.LABELLED else "",
                on_shelf=on_shelf,
                undone=undo_of(uid) in moves,
                is_undo=undoes is not None,
            )
        )
    return entries[::-1]


def move_words(rows: list[CountMove], names: Names) -> str:
    """Say in a few words what the rows of one move mean."""
    first = rows[0]
    count = abs(first.delta)
    at_show = next((names[row.show][0] for row in rows if row.show is not None), "a show")
    match first.why:
        case Why.BOUGHT:
            return f"{count} bought"
        case Why.RECOUNTED:
            return "recounted: " + ", ".join(_recount(row) for row in rows)
        case Why.OUT:
            return f"{count} went out to {at_show}"
        case Why.BACK | Why.USED_UP:
            return _back(rows, at_show)
        case Why.LOST:
            return f"{count} lost at {at_show}"
        case Why.STRAIGHT_ON:
            to_show = names[rows[-1].show][0] if rows[-1].show is not None else "the next"
            return f"{count} went straight on from {at_show} to {to_show}"
        case Why.FOUND_BAD:
            return f"{count} found bad, now at the bench"
        case Why.MENDED:
            return f"{count} mended, back on the shelf"
        case Why.THROWN_AWAY:
            return f"{count} thrown away" + ("" if first.condition == CountCondition.BAD else ", good ones")
        case Why.LABELLED:
            return "one got a label of its own"
        case _:
            return "taken back"


def _recount(row: CountMove) -> str:
    more = f"{abs(row.delta)} {'more' if row.delta > 0 else 'fewer'}"
    return f"{more} on the shelf" if row.condition == CountCondition.GOOD else f"{more} bad"


def _back(rows: list[CountMove], at_show: str) -> str:
    back = [row for row in rows if row.why == Why.BACK]
    bad = sum(row.delta for row in back if row.condition == CountCondition.BAD)
    used = sum(row.delta for row in rows if row.why == Why.USED_UP and row.show is not None)
    said = f"{sum(row.delta for row in back) or 'none'} came back from {at_show}"
    if bad:
        said += f", {bad} of them bad"
    if used > 0:
        said += f"; {used} used up"
    elif used < 0:
        said += f"; {-used} not used up after all"
    return said
