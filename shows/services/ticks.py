"""A paper tick sheet entered afterwards: all as listed, except what was unticked. Said, not seen; entered once."""

import uuid
from dataclasses import dataclass, field
from datetime import datetime

from company.models import Person
from inventory.models import CountedLine
from inventory.services.counted import count_back, count_out
from shows.calc.words import Action, Outcome
from shows.models import Show
from shows.services.dock import scan_shaped, scans_sent


@dataclass(frozen=True, kw_only=True)
class CountTicked:
    """So many of a counted line, ticked on paper."""

    line: int
    good: int
    bad: int = 0


@dataclass(kw_only=True)
class TicksEntered:
    """What came of a sheet: how many scans were taken, and a sentence for each the record looks at twice."""

    taken: int = 0
    counted: int = 0
    looks: list[str] = field(default_factory=list)


def ticks_enter(
    *,
    uid: uuid.UUID,
    show: Show,
    action: Action,
    codes: list[str],
    counts: list[CountTicked],
    happened_at: datetime,
    actor: Person,
    at: datetime,
) -> TicksEntered:
    """Turn a sheet into scans and count moves. Every uid follows from the sheet's, so that the same sheet sent twice, or
    sent again after half of it was stored, is entered once."""
    entered = TicksEntered()
    scans = [
        scan_shaped(
            code=code, action=action, at=happened_at, show=show.pk, uid=uuid.uuid5(uid, f"{action}:{code}"), ticked=True
        )
        | {"seq": int(at.timestamp() * 1_000_000) + n}
        for n, code in enumerate(dict.fromkeys(codes))
    ]
    for code, answer in zip(dict.fromkeys(codes), scans_sent(actor=actor, device="paper", scans=scans, at=at), strict=True):
        if answer.outcome in {Outcome.ACCEPTED, Outcome.CONTRADICTION}:
            entered.taken += 1
        if answer.outcome != Outcome.ACCEPTED or answer.signal != "fine":
            entered.looks.append(f"{code[:4]}-{code[4:]}: {answer.reason}")
    lines = CountedLine.objects.select_related("type").in_bulk([c.line for c in counts])
    for counted in counts:
        line = lines.get(counted.line)
        if line is None or not (counted.good or counted.bad):
            continue
        own = uuid.uuid5(uid, f"{action}:count:{counted.line}")
        if action == Action.OUT:
            said = count_out(uid=own, line=line, show=show.pk, count=counted.good, at=happened_at, person=actor)
        else:
            said = count_back(
                uid=own, line=line, show=show.pk, good=counted.good, bad=counted.bad, at=happened_at, person=actor
            )
        entered.counted += counted.good + counted.bad
        if said.warning:
            entered.looks.append(said.warning)
    return entered
