"""Scans of a counted line's shelf label: so many out, so many back, and what the device is told of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import F, Sum

from company.models import Person
from inventory.calc.kinds import Kind
from inventory.models import CountedLine, CountMove
from inventory.services.counted import Counted, CountRefused, count_back, count_out
from shows.calc.words import Action, Outcome, Signal
from shows.models import PullRow
from shows.services.programme import Programme
from shows.services.reading import Draft


@dataclass(frozen=True, kw_only=True)
class CountTold:
    """What a device is told of a count; `entered` when the ledger holds it."""

    outcome: Outcome
    signal: Signal
    reason: str
    entered: bool = False


def counted_lines(numbers: Iterable[int]) -> dict[int, CountedLine]:
    """Read counted lines with their types."""
    wanted = {number for number in numbers if number < 2**63}
    return CountedLine.objects.select_related("type").in_bulk(wanted) if wanted else {}


def counted_out(numbers: Iterable[int]) -> dict[tuple[int, int], int]:
    """Return how many of each line are out to each show, as {(line, show): count}."""
    rows = CountMove.objects.filter(line__in=list(numbers), show__isnull=False).order_by().values_list("line_id", F("show"))
    return {(line, show): -total for line, show, total in rows.annotate(total=Sum("delta")) if total}


class Counter:
    """The counts of one batch, one after the other; how many are out is read once."""

    def __init__(self, *, lines: dict[int, CountedLine], programme: Programme, actor: Person | None) -> None:
        self.lines, self.programme, self.actor = lines, programme, actor
        self.out = counted_out(lines) if lines else {}

    def enter(self, draft: Draft) -> CountTold:
        """Enter one scan of a counted line in the ledger, and say what came of it."""
        line, show, count = self.lines[draft.parsed.number], draft.show, draft.counted
        if draft.action not in (Action.OUT, Action.BACK):
            return _accepted(f"Seen: {line}. Counted things move when they go out and come back.")
        if count is None or (count == 0 and draft.action == Action.OUT):
            return CountTold(outcome=Outcome.REFUSED, signal=Signal.STOP, reason=f"Say how many: {line}.")
        if show is None:
            show = self._likely_show(line)
            if show is None:
                return _contradiction(f"None of {line} is out to any show. Kept: tell a technician.", entered=False)
        try:
            moved = self._move(draft, line, show, count)
        except CountRefused as refused:
            return CountTold(outcome=Outcome.REFUSED, signal=Signal.STOP, reason=str(refused))
        name = self.programme.times([show])[show].name
        left = self.out.get((line.pk, show), 0) + (count if draft.action == Action.OUT else -count)
        self.out[line.pk, show] = left
        if draft.action == Action.OUT:
            said = f"{count} × {line} out to {name}. {moved.warning}".strip()
            wanted = self._wanted(line, show)
            if 0 < wanted < left:
                said = f"{said} {left} out; the list asks for {wanted}."
            signal = Signal.LOOK if moved.warning else Signal.FINE
            return CountTold(outcome=Outcome.ACCEPTED, signal=signal, reason=said, entered=True)
        said = f"{count} × {line} back from {name}{', bad' if draft.ill else ''}"
        if left < 0:
            return _contradiction(f"{said}: that is {-left} more than went out. Kept: tell a technician.", entered=True)
        still = f" {left} still out." if left and line.type.kind != Kind.CONSUMABLE else ""
        return _accepted(f"{said}.{still}", entered=True)

    def _wanted(self, line: CountedLine, show: int) -> int:
        """Return how many of a line a show's list asks for, of its own length before any."""
        rows = PullRow.objects.filter(show=show, type=line.type_id, item=None, length_mm__in={0, line.length_mm}).order_by()
        asked = dict(rows.values_list("length_mm").annotate(total=Sum("count")))
        return asked.get(line.length_mm) or asked.get(0, 0)

    def _likely_show(self, line: CountedLine) -> int | None:
        """Return the earliest show that some of a line are out to."""
        there = [show for (pk, show), left in self.out.items() if pk == line.pk and left > 0]
        times = self.programme.times(there)
        return min(times, key=lambda show: (times[show].load_in, show), default=None)

    def _move(self, draft: Draft, line: CountedLine, show: int, count: int) -> Counted:
        shared: dict[str, Any] = {
            "uid": draft.uid,
            "line": line,
            "show": show,
            "at": draft.effective_at,
            "person": self.actor,
            "note": draft.note[:200],
        }
        if draft.action == Action.OUT:
            return count_out(count=count, **shared)
        good, bad = (0, count) if draft.ill else (count, 0)
        return count_back(good=good, bad=bad, **shared)


def _accepted(reason: str, *, entered: bool = False) -> CountTold:
    return CountTold(outcome=Outcome.ACCEPTED, signal=Signal.FINE, reason=reason, entered=entered)


def _contradiction(reason: str, *, entered: bool) -> CountTold:
    return CountTold(outcome=Outcome.CONTRADICTION, signal=Signal.LOOK, reason=reason, entered=entered)
