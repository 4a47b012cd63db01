"""Every fault of a lead as a finding: its name, what was read, what it does on a show, what mends it."""

from collections.abc import Iterable, Iterator, Sequence
from math import inf

from maintenance.calc import wiring_effects as effects
from maintenance.calc.bench import Finding, Verdict
from maintenance.calc.wiring_case import Case, Resistance
from maintenance.calc.wiring_effects import Name, family_of
from maintenance.calc.wiring_flex import flexed_findings
from maintenance.calc.wiring_graph import Shape
from maintenance.calc.wiring_limits import LOADS_OHM, loss_db
from maintenance.calc.wiring_nets import PARTNERS, Expect, Net, Role, is_shell, pin_name, pin_words
from maintenance.calc.wiring_readings import BEEP
from maintenance.calc.wiring_words import capital, listed, net_words, ohms_words, pins_words

SURE_LEAK_SHARE = 0.1  # a leak below this share of the leak limit fails at once; above it is watched. Our proposal.


def findings_of(case: Case) -> tuple[Finding, ...]:
    """Return all findings, what breaks most first."""
    found: list[Finding] = []
    if case.shape is not None:
        found += _channels(case, case.shape)
        found += _astray(case, case.shape)
        found += _opens(case, case.shape)
        found += _shorts(case, case.shape)
    high = list(_high(case))
    found += [finding for _, finding in high]
    found += _resistors(case)
    strained = {net for net, _ in high}
    found += _uneven(case, strained)
    if case.lead.loudspeaker:
        found += _losses(case, strained)
    if case.shape is not None:
        found += _leaks(case, case.shape)
    if case.book.flexed:
        found += flexed_findings(case)
    return tuple(found)


def impossible_words(case: Case) -> list[str]:
    """Return a sentence for each set of readings that cannot all be true."""
    words: list[str] = []
    if case.shape is None:
        return words
    told: set[int] = set()
    for one, other, way in case.shape.impossible:
        clump = case.shape.clump_of[one]
        if clump in told:
            continue
        told.add(clump)
        pair = f"{_pin(case, one)} to {_pin(case, other)}"
        if clump == case.shape.clump_of[other]:
            words.append(
                f"{capital(pair)} reads {_said(case.reading(one, other))}, yet the way round by other pins reads "
                f"{ohms_words(way)} in all: that cannot be. Press the probes on and measure these again."
            )
        else:
            words.append(
                f"{capital(pair)} reads {ohms_words(way)}, yet pins joined to them read far more: that cannot be. Fingers on "
                "both probes read like a leak; measure these again."
            )
    return words


def _pin(case: Case, pin: int) -> str:
    return pin_words(case.wiring.pins[pin])


def _pins(case: Case, pins: Iterable[int]) -> str:
    return pins_words(case.wiring.pins[p] for p in pins)


def _names(case: Case, pins: Iterable[int]) -> tuple[str, ...]:
    return tuple(case.wiring.pins[p] for p in dict.fromkeys(pins))


def _said(value: float) -> str:
    return "a beep" if value == BEEP else "no connection" if value == inf else ohms_words(value)


def _net(case: Case, n: int) -> Net:
    return case.wiring.nets[n]


def _channel(case: Case, pins: Iterable[int]) -> int | None:
    return next((c for p in pins if (c := _net(case, case.wiring.net_index[p]).channel) is not None), None)


def _channels(case: Case, shape: Shape) -> Iterator[Finding]:
    left = dict(shape.moved)
    while left:
        start = min(left)
        ring = [start]
        while (following := left.pop(ring[-1])) != start:
            ring.append(following)
        named = [case.wiring.channel_words(c) for c in ring]
        if len(ring) == 2:
            title = f"Channels {named[0]} and {named[1]} swapped"
        else:
            title = f"Channels {listed(named)} in the wrong order"
        reach = [f"channel {a} comes out as {b}" for a, b in zip(named, [*named[1:], named[0]], strict=True)]
        pins = [p for p, net in enumerate(case.wiring.net_index) if _net(case, net).channel in ring]
        yield Finding(
            name=Name.CHANNELS_SWAPPED,
            title=title,
            text=f"{capital('; '.join(reach))}.",
            effect="Everything on these lines comes up on another fader; a line check finds it, and loses minutes.",
            repair="Swap the tails' plugs or their labels; for the stage box, swap the cores behind its sockets.",
            pins=_names(case, pins),
            channel=ring[0],
        )


def _astray(case: Case, shape: Shape) -> Iterator[Finding]:
    wiring, family = case.wiring, family_of(case.wiring)
    for placed in shape.astray:
        if case.is_doubtful(*(p for p, _, _ in placed)):
            continue
        told, pins = [], []
        for pin, clump, place in placed:
            net = shape.net_of[place]
            rest = [p for p in shape.clumps[clump] if p != pin and shape.net_of[p] == net]
            told.append(
                f"{_pins(case, rest)} reach{'es' if len(rest) == 1 else ''} {_pin(case, pin)} instead of {_pin(case, place)}"
            )
            pins += [*rest, pin, place]
        moved = [p for p, _, _ in placed]
        nets = [_net(case, shape.net_of[p]) for p in moved]
        legs = (
            len(placed) == 2
            and wiring.end_index[moved[0]] == wiring.end_index[moved[1]]
            and (PARTNERS.get(nets[0].role) == nets[1].role or PARTNERS.get(nets[1].role) == nets[0].role)
            and nets[0].pair == nets[1].pair
            and nets[0].channel == nets[1].channel
        )
        places = listed(sorted(pin_name(wiring.pins[p]) for p in moved))
        where = wiring.pins[moved[0]][0]
        channel = _channel(case, moved)
        at = f" of channel {wiring.channel_words(channel)}" if channel is not None and legs else ""
        if legs:
            title = f"Legs swapped: pins {places}{at} at {where}"
        elif len(placed) == 2 and wiring.end_index[moved[0]] == wiring.end_index[moved[1]]:
            title = f"Pins {_pins(case, moved)} swapped"
        else:
            title = f"Miswired: {_pins(case, moved)}"
        yield Finding(
            name=Name.LEGS_SWAPPED if legs else Name.MISWIRED,
            title=title,
            text=f"{capital('; '.join(told))}.",
            effect=effects.swap_effect(nets, family),
            repair=effects.SWAP_REPAIR,
            pins=_names(case, pins),
            channel=channel,
        )


def _opens(case: Case, shape: Shape) -> Iterator[Finding]:
    family = family_of(case.wiring)
    for net, pins in shape.opens:
        if case.is_doubtful(*pins):
            continue
        told = _net(case, net)
        home = next((c for c, mine in shape.owners.items() if net in mine), None)
        rest = [p for p in shape.judged.get(net, []) if p not in pins and shape.clump_of[p] == home]
        if rest:
            read = min((case.reading(p, q) for p in pins for q in rest), default=inf)
            said = "no connection" if read == inf else f"{ohms_words(read)}, which is as good as nothing"
            text = f"{_pins(case, pins)} do{'es' if len(pins) == 1 else ''} not reach {_pins(case, rest)}: {said}."
        else:
            text = f"{_pins(case, pins)} reach{'es' if len(pins) == 1 else ''} nothing."
        everyone = [*pins, *rest]
        yield Finding(
            name=Name.SHIELD_OPEN if told.is_screen else Name.OPEN,
            title=f"{capital(net_words(told))} open",
            text=text,
            effect=effects.open_effect(told, family),
            repair=effects.joint_repair(_pins(case, everyone)),
            pins=_names(case, everyone),
            channel=told.channel if told.channel is not None else _channel(case, everyone),
        )


def _shorts(case: Case, shape: Shape) -> Iterator[Finding]:
    family = family_of(case.wiring)
    for clump, group in shape.shorts:
        pins = shape.clumps[clump]
        if case.is_doubtful(pins[0]):
            continue
        by_net = {n: [p for p in shape.judged.get(n, ()) if p in pins] for n in group}
        placed = {p for mine in by_net.values() for p in mine}
        for n in group:
            by_net[n] += [p for p in pins if shape.net_of[p] == n and p not in placed]
        shells = [n for n in group if all(is_shell(case.wiring.pins[p]) for p in by_net[n])]
        others = [n for n in group if n not in shells]
        if len(others) > 1:
            yield _short(case, [by_net[n] for n in others], [_net(case, n) for n in others], family)
        if shells:
            yield _shell(
                case, [p for n in shells for p in by_net[n]], [by_net[n] for n in others], [_net(case, n) for n in others]
            )


def _nearest(case: Case, groups: Sequence[Sequence[int]]) -> tuple[float, int, int]:
    """Return the lowest reading between pins of two groups, the pair it was read at; a pair of one end before others."""
    ends = case.wiring.end_index
    pairs = [
        (max(value, 0.0), ends[p] != ends[q], p, q)
        for n, one in enumerate(groups)
        for other in groups[n + 1 :]
        for p in one
        for q in other
        if (value := case.book.get(p, q)) is not None and value < case.limits.open_ohm
    ]
    if not pairs:
        return inf, groups[0][0], groups[1][0]
    _, _, p, q = min(pairs)
    return case.reading(p, q), p, q


def _short(case: Case, groups: list[list[int]], nets: list[Net], family: effects.Family) -> Finding:
    read, one, other = _nearest(case, groups)
    gap = case.wiring.special.get(tuple(sorted(case.wiring.net_index[p] for p in (one, other))))  # type: ignore[arg-type]
    effect = effects.short_effect(nets, family)
    if gap is not None and gap.kind is Expect.MAYBE:
        effect = "The lift does not lift: the ground loop stays and so does its hum."
    pins = [one, other, *(p for group in groups for p in group)]
    return Finding(
        name=Name.SHORT,
        title=f"{capital(listed([net_words(n) for n in nets]))} shorted together",
        text=f"{_pin(case, one)} and {_pin(case, other)} must be apart and read {_said(read)}.",
        effect=effect,
        repair=effects.SHORT_REPAIR,
        pins=_names(case, pins),
        channel=_channel(case, pins),
    )


def _shell(case: Case, shells: list[int], groups: list[list[int]], nets: list[Net]) -> Finding:
    harmless = all(net.role is Role.SCREEN for net in nets)
    read, one, other = _nearest(case, [shells, [p for g in groups for p in g]] if groups else [[s] for s in shells])
    with_what = listed([net_words(net) for net in nets]) if nets else "the other shell"
    pins = [*shells, *(p for g in groups for p in g)]
    return Finding(
        name=Name.SHELL,
        title=f"{capital(with_what)} tied to the shell",
        text=f"{_pin(case, one)} and {_pin(case, other)} must be apart and read {_said(read)}.",
        effect=effects.SHELL_EFFECT if harmless else "Shorted to everything the plug touches: hum, no phantom, or no signal.",
        repair=effects.SHELL_REPAIR,
        pins=_names(case, pins),
        channel=_channel(case, pins),
        weight=Verdict.WATCH if harmless else Verdict.FAIL,
    )


def _high(case: Case) -> Iterator[tuple[int, Finding]]:
    family = family_of(case.wiring)
    for n, measured in case.resistances.items():
        over = [r for r in measured if r.limit is not None and r.ohm - case.allowance > r.limit.pass_ohm]
        if not over or case.is_doubtful(over[0].one) or _is_swap_in_a_short(case, n):
            continue
        net = _net(case, n)
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
                    f"{_pin(case, worst.one)} to {_pin(case, worst.other)} reads {ohms_words(worst.ohm)}, "
                    f"{ohms_words(worst.ohm - limit.pass_ohm)} over its limit of {ohms_words(limit.pass_ohm)} "
                    f"(its copper is {ohms_words(limit.copper_ohm)})."
                ),
                effect=effects.high_effect(net, family),
                repair=effects.joint_repair(_pins(case, bad)),
                pins=_names(case, [*bad, worst.one, worst.other]),
                channel=net.channel,
                weight=Verdict.FAIL if fails else Verdict.WATCH,
            ),
        )


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


def _resistors(case: Case) -> Iterator[Finding]:
    for value, one, other in case.got.odd:
        a, b = sorted(case.wiring.net_index[p] for p in (one, other))
        wanted = case.wiring.special[a, b]
        if case.is_doubtful(one, other) or wanted.ohm is None or wanted.low is None or wanted.high is None:
            continue
        if _is_side_by_side(case, value, one, other):
            continue
        yield Finding(
            name=Name.RESISTOR,
            title=f"Resistor between {_pin(case, one)} and {_pin(case, other)} out of range",
            text=(
                f"{ohms_words(wanted.ohm)} is meant, from {ohms_words(wanted.low)} to {ohms_words(wanted.high)}; "
                f"it reads {_said(value)}."
            ),
            effect="The line is not ended: lights flicker or jump, most on long lines.",
            repair=effects.RESISTOR_REPAIR,
            pins=_names(case, [one, other]),
            channel=_channel(case, [one, other]),
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


def _uneven(case: Case, strained: set[int]) -> Iterator[Finding]:
    limits, tied = case.limits, _tied(case)
    for n, other in _partners(case, {Role.HOT, Role.DATA_PLUS}):
        if {n, other} & (strained | tied):  # what is shorted reads through the short as well
            continue
        apart = [
            (abs(a.ohm - b.ohm), a, b)
            for a, b in _branches(case, n, other)
            if abs(a.ohm - b.ohm) > limits.legs_factor * max(a.ohm, b.ohm) + limits.legs_ohm
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
            title=f"Uneven legs: {_pin(case, worse.one)} to {_pin(case, worse.other)} is the higher",
            text=(
                f"{ohms_words(a.ohm)} and {ohms_words(b.ohm)}: {ohms_words(gap)} apart, at most {ohms_words(allowed)} is meant."
            ),
            effect=effects.UNEVEN_EFFECT,
            repair=effects.joint_repair(_pins(case, [worse.one, worse.other])),
            pins=_names(case, [worse.one, worse.other]),
            channel=_net(case, n).channel,
            weight=Verdict.WATCH,
        )


def _losses(case: Case, strained: set[int]) -> Iterator[Finding]:
    most, load = case.limits.loudspeaker_loss_db, LOADS_OHM[0]
    tied = _tied(case)
    for n, other in _partners(case, {Role.PLUS}):
        if {n, other} & (strained | tied):
            continue
        for a, b in _branches(case, n, other):
            loop = max(0.0, a.ohm + b.ohm - 2 * case.allowance)
            copper = sum(r.limit.copper_ohm for r in (a, b) if r.limit is not None)
            lost = loss_db(loop, load)
            if lost > most and loss_db(copper, load) <= most:
                yield Finding(
                    name=Name.LOSS,
                    title=f"{capital(net_words(_net(case, n)))} and its way back lose {lost:.1f} dB into {load:g} Ω",
                    text=(
                        f"{ohms_words(loop)} out and back, where its copper is {ohms_words(copper)}: "
                        f"at most {most:g} dB is meant."
                    ),
                    effect=effects.high_effect(_net(case, n), effects.Family.LOUDSPEAKER),
                    repair=effects.joint_repair(_pins(case, [a.one, a.other, b.one, b.other])),
                    pins=_names(case, [a.one, a.other, b.one, b.other]),
                    channel=_net(case, n).channel,
                    weight=Verdict.WATCH,
                )


def _leaks(case: Case, shape: Shape) -> Iterator[Finding]:
    for value, one, other in shape.leaks:
        if case.is_doubtful(one, other):
            continue
        pins = [case.wiring.pins[p] for p in (one, other)]
        mild = value >= SURE_LEAK_SHARE * case.limits.leak_ohm
        harmless = any(map(is_shell, pins)) and all(
            is_shell(case.wiring.pins[p]) or _net(case, shape.net_of[p]).role is Role.SCREEN for p in (one, other)
        )
        yield Finding(
            name=Name.LEAK,
            title=f"Leak between {pins_words(pins)}",
            text=f"{ohms_words(value)}; {ohms_words(case.limits.leak_ohm)} at least is meant: damp, flux, or insulation gone.",
            effect=effects.LEAK_EFFECT,
            repair=effects.LEAK_REPAIR,
            pins=_names(case, [one, other]),
            channel=_channel(case, [one, other]),
            weight=Verdict.WATCH if mild or harmless else Verdict.FAIL,
        )
