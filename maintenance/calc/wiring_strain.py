"""Findings from how much a lead resists: joints that are high, legs that differ, resistors out of range, what a loop loses."""

from collections.abc import Iterator

from maintenance.calc import wiring_effects as effects
from maintenance.calc.bench import Finding, Verdict
from maintenance.calc.wiring_case import (
    Case,
    Resistance,
    channel_at,
    names_of,
    net_at,
    pair_said,
    pins_said,
    reading_said,
)
from maintenance.calc.wiring_effects import Name, family_of
from maintenance.calc.wiring_limits import LOADS_OHM, loss_db
from maintenance.calc.wiring_nets import PARTNERS, Role
from maintenance.calc.wiring_words import capital, net_words, ohms_words


def high_findings(case: Case) -> Iterator[tuple[int, Finding]]:
    family = family_of(case.wiring)
    for n, measured in case.resistances.items():
        over = [r for r in measured if _is_over(case, r)]
        if not over or case.is_doubtful(over[0].one) or _is_swap_in_a_short(case, n):
            continue
        net = net_at(case, n)
        worst = max(over, key=lambda r: r.ohm - (r.limit.pass_ohm if r.limit else 0))
        limit = worst.limit
        if limit is None:
            continue
        fails = any(r.limit is not None and r.ohm - case.allowance > r.limit.fail_ohm for r in over)
        common = set.intersection(*({r.one, r.other} for r in over))
        bad = sorted(common) if common else [worst.one, worst.other]
        yield (
            n,
            Finding(
                name=Name.HIGH,
                title=f"{capital(net_words(net))}: high resistance",
                text=(
                    f"{pair_said(case, worst.one, worst.other)} reads {ohms_words(worst.ohm)}, "
                    f"{ohms_words(worst.ohm - limit.pass_ohm)} over its limit of {ohms_words(limit.pass_ohm)} "
                    f"(its copper is {ohms_words(limit.copper_ohm)})."
                ),
                effect=effects.high_effect(net, family),
                repair=effects.joint_repair(pins_said(case, bad)),
                pins=names_of(case, [*bad, worst.one, worst.other]),
                channel=net.channel,
                weight=Verdict.FAIL if fails else Verdict.WATCH,
            ),
        )


def _is_over(case: Case, r: Resistance) -> bool:
    return r.limit is not None and r.ohm - case.allowance > r.limit.pass_ohm


def _is_swap_in_a_short(case: Case, n: int) -> bool:
    """Say whether a net is higher only because it is swapped with one it is shorted to: crossed at one end, both read right."""
    if case.shape is None:
        return False
    wiring, ends = case.wiring, case.wiring.end_index
    for _, group in case.shape.shorts:
        for other in group if n in group else ():
            if other == n:
                continue
            for end in range(len(wiring.ends)):
                here = [[p for p in wiring.net_pins[m] if ends[p] == end] for m in (n, other)]
                if [len(pins) for pins in here] != [1, 1]:
                    continue
                (mine,), (theirs,) = here
                cross = {mine: theirs, theirs: mine}
                rows = [[cross.get(p, p) for p in wiring.net_pins[m]] for m in (n, other)]
                if all(_reads_right(case, row) for row in rows):
                    return True
    return False


def _reads_right(case: Case, pins: list[int]) -> bool:
    rest = pins[1:]
    for one, other in [*((pins[0], p) for p in rest), *((p, q) for p in rest for q in rest if p < q)]:
        limit = case.limit_of(case.wiring.net_index[one], one, other)
        value = case.book.get(one, other)
        if limit is None or value is None or value - case.allowance > limit.pass_ohm:
            return False
    return True


def resistor_findings(case: Case) -> Iterator[Finding]:
    for value, one, other in case.got.odd:
        a, b = sorted(case.wiring.net_index[p] for p in (one, other))
        wanted = case.wiring.special[a, b]
        if case.is_doubtful(one, other) or wanted.ohm is None or wanted.low is None or wanted.high is None:
            continue
        if _is_side_by_side(case, value, one, other):
            continue
        yield Finding(
            name=Name.RESISTOR,
            title=f"Resistor between {pair_said(case, one, other, 'and')} out of range",
            text=(
                f"{ohms_words(wanted.ohm)} is meant, from {ohms_words(wanted.low)} to {ohms_words(wanted.high)}; "
                f"it reads {reading_said(value)}."
            ),
            effect="The line is not ended: lights flicker or jump, most on long lines.",
            repair=effects.RESISTOR_REPAIR,
            pins=names_of(case, [one, other]),
            channel=channel_at(case, [one, other]),
        )


def _partners(case: Case, roles: set[Role]) -> Iterator[tuple[int, int]]:
    found: dict[tuple[Role, int | None, int | None], int] = {}
    nets = case.wiring.nets
    for n in case.resistances:
        found[nets[n].role, nets[n].pair, nets[n].channel] = n
    for (role, pair, channel), n in found.items():
        other = found.get((PARTNERS[role], pair, channel)) if role in roles else None
        if other is not None:
            yield n, other


def _is_side_by_side(case: Case, value: float, one: int, other: int) -> bool:
    """Say whether a resistor reads low only because shorts, named already, put another beside it."""
    if case.shape is None:
        return False
    clump_of, wiring = case.shape.clump_of, case.wiring
    ends = {clump_of[one], clump_of[other]}
    beside = [r for r in wiring.resistors if {clump_of[wiring.index[r.a]], clump_of[wiring.index[r.b]]} == ends]
    if len(beside) < 2:
        return False
    low, high = (1 / sum(1 / (r.ohm * (1 + sign * r.percent / 100)) for r in beside) for sign in (-1, 1))
    return low <= value <= high


def _tied(case: Case) -> set[int]:
    return {n for _, group in case.shape.shorts for n in group} if case.shape is not None else set()


def _branches(case: Case, n: int, other: int) -> Iterator[tuple[Resistance, Resistance]]:
    """Pair the resistances of two legs that run between the same ends."""
    ends = case.wiring.end_index
    by_ends = {frozenset((ends[r.one], ends[r.other])): r for r in case.resistances[other]}
    for r in case.resistances[n]:
        if (match := by_ends.get(frozenset((ends[r.one], ends[r.other])))) is not None:
            yield r, match


def uneven_findings(case: Case) -> Iterator[Finding]:
    limits, tied = case.limits, _tied(case)
    for n, other in _partners(case, {Role.HOT, Role.DATA_PLUS}):
        if {n, other} & tied:  # what is shorted reads through the short as well
            continue
        apart = [
            (abs(a.ohm - b.ohm), a, b)
            for a, b in _branches(case, n, other)
            if abs(a.ohm - b.ohm) > limits.legs_factor * max(a.ohm, b.ohm) + limits.legs_ohm
            and not (_is_over(case, a) or _is_over(case, b))  # that is named already
        ]
        if not apart:
            continue
        gap, a, b = max(apart, key=lambda row: row[0])
        if case.is_doubtful(a.one, b.one):
            continue
        worse = a if a.ohm > b.ohm else b
        allowed = limits.legs_factor * max(a.ohm, b.ohm) + limits.legs_ohm
        yield Finding(
            name=Name.UNEVEN,
            title=f"Uneven legs: {pair_said(case, worse.one, worse.other)} is the higher",
            text=(
                f"{ohms_words(a.ohm)} and {ohms_words(b.ohm)}: {ohms_words(gap)} apart, at most {ohms_words(allowed)} is meant."
            ),
            effect=effects.UNEVEN_EFFECT,
            repair=effects.joint_repair(pins_said(case, [worse.one, worse.other])),
            pins=names_of(case, [worse.one, worse.other]),
            channel=net_at(case, n).channel,
            weight=Verdict.WATCH,
        )


def loss_findings(case: Case, strained: set[int]) -> Iterator[Finding]:
    """Name a loss only where nothing is known to hold the legs against: else the legs are judged, and the loss is a note."""
    most, load = case.limits.loudspeaker_loss_db, LOADS_OHM[0]
    tied = _tied(case)
    for n, other in _partners(case, {Role.PLUS}):
        if {n, other} & (strained | tied):
            continue
        for a, b in _branches(case, n, other):
            loop = max(0.0, a.ohm + b.ohm - 2 * case.allowance)
            lost = loss_db(loop, load)
            if lost > most and (a.limit is None or b.limit is None):
                pins = [a.one, a.other, b.one, b.other]
                yield Finding(
                    name=Name.LOSS,
                    title=f"{capital(net_words(net_at(case, n)))} and its way back lose {lost:.1f} dB into {load:g} Ω",
                    text=f"{ohms_words(loop)} out and back; at most {most:g} dB is meant. Its length or gauge would say why.",
                    effect=effects.high_effect(net_at(case, n), effects.Family.LOUDSPEAKER),
                    repair=effects.joint_repair(pins_said(case, pins)),
                    pins=names_of(case, pins),
                    channel=net_at(case, n).channel,
                    weight=Verdict.WATCH,
                )
