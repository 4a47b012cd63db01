"""What bending a lead changes: a worst reading while flexed against the same pair lying still."""

from collections import defaultdict
from collections.abc import Iterator
from math import inf

from maintenance.calc import wiring_effects as effects
from maintenance.calc.bench import Finding, Verdict
from maintenance.calc.wiring_case import Case
from maintenance.calc.wiring_effects import Name
from maintenance.calc.wiring_nets import ANYTHING, pin_words
from maintenance.calc.wiring_readings import BEEP
from maintenance.calc.wiring_words import capital, net_words, ohms_words, pins_words

MOVES_GUARDS = 2.0  # a joint that moves by more than so many guards is watched. Our proposal.


def flexed_findings(case: Case) -> list[Finding]:
    """Return one finding for every joint or gap that bending changes, the worst reading in it."""
    changed: dict[tuple[int, ...], list[tuple[int, float, float, int, int]]] = defaultdict(list)
    of = _together(case)
    for one, other, still, flexed, grade in _changes(case):
        changed[tuple(sorted({of[one], of[other]}))].append((grade, still, flexed, one, other))
    return [_finding(case, rows) for rows in changed.values()]


def _together(case: Case) -> list[int]:
    """Return for each pin what it hangs together with, over allowed ways too: a break in one shows in all of these."""
    of = list(case.shape.clump_of if case.shape is not None else case.wiring.net_index)
    for value, one, other in case.got.special:
        if 0 <= value <= case.limits.open_ohm and of[one] != of[other]:
            gone, kept = of[one], of[other]
            of = [kept if clump == gone else clump for clump in of]
    return of


def _changes(case: Case) -> Iterator[tuple[int, int, float, float, int]]:
    """Yield pairs that bending changes with how badly: 2 fails, 1 is watched."""
    limits, book = case.limits, case.book
    for key, flexed in book.flexed.items():
        still = book.still.get(key)
        if still is None:
            continue
        one, other = divmod(key, book.pins)
        if case.wiring.expected_at(one, other) == ANYTHING:
            continue
        if still <= limits.open_ohm:
            grade = _parted(case, still, flexed)
        elif 0 <= still < limits.leak_ohm and flexed >= still / 2:
            grade = 0
        elif flexed < limits.short_ohm:
            grade = 2
        else:
            grade = 1 if flexed < limits.leak_ohm else 0
        if grade:
            yield one, other, still, flexed, grade


def _parted(case: Case, still: float, flexed: float) -> int:
    limits = case.limits
    if flexed > limits.open_ohm:
        return 2
    if BEEP in (still, flexed):
        return 0
    if flexed - still > limits.watch_extra_ohm:
        return 2
    return 1 if flexed - still > MOVES_GUARDS * limits.guard_ohm else 0


def _finding(case: Case, rows: list[tuple[int, float, float, int, int]]) -> Finding:
    joined = rows[0][1] <= case.limits.open_ohm
    grade, still, flexed, one, other = (
        max(rows, key=lambda r: (r[0], r[2])) if joined else max(rows, key=lambda r: (r[0], -r[2]))
    )
    pins = [case.wiring.pins[p] for p in (one, other)]
    net = case.wiring.nets[case.wiring.net_index[one]]
    title = f"{capital(net_words(net))} comes and goes" if joined else f"{pins_words(pins)} touch when it is bent"
    everyone = dict.fromkeys([*pins, *(case.wiring.pins[p] for row in rows for p in row[3:5])])
    channels = [case.wiring.nets[case.wiring.net_index[case.wiring.index[p]]].channel for p in everyone]
    return Finding(
        name=Name.INTERMITTENT,
        title=title,
        text=f"{pin_words(pins[0])} to {pin_words(pins[1])} reads {_said(still)} lying still and {_said(flexed)} while bent.",
        effect=effects.INTERMITTENT_EFFECT,
        repair=effects.FLEX_REPAIR,
        pins=tuple(everyone),
        channel=next((c for c in channels if c is not None), None),
        weight=Verdict.FAIL if grade == 2 else Verdict.WATCH,
    )


def _said(value: float) -> str:
    return "a beep" if value == BEEP else "no connection" if value == inf else ohms_words(value)
