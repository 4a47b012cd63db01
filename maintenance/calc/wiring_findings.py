"""Every fault of a lead as a finding: its name, what was read, what it does on a show, what mends it."""

from collections.abc import Iterator, Sequence
from math import inf

from maintenance.calc import wiring_effects as effects
from maintenance.calc.bench import Finding, Verdict
from maintenance.calc.wiring_case import Case, channel_at, names_of, net_at, pair_said, pin_said, pins_said, reading_said
from maintenance.calc.wiring_effects import Name, family_of
from maintenance.calc.wiring_flex import flexed_findings
from maintenance.calc.wiring_graph import Shape, rings_of
from maintenance.calc.wiring_nets import PARTNERS, Expect, Net, Role, is_shell, pin_name
from maintenance.calc.wiring_strain import high_findings, loss_findings, resistor_findings, uneven_findings
from maintenance.calc.wiring_words import capital, listed, net_words, ohms_words, pins_words

NEARER_SHARE = 0.2  # one end reads less than the other by more than this: the short is nearer to it. Our proposal.
LEAST_NETS = 3  # with fewer cores each open one keeps its own name: one may be mended before the other is seen
SURE_LEAK_SHARE = 0.1  # a leak below this share of the leak limit fails at once; above it is watched. Our proposal.


def findings_of(case: Case) -> tuple[Finding, ...]:
    """Return all findings, what breaks most first."""
    found: list[Finding] = []
    if case.shape is not None:
        found += _channels(case, case.shape)
        found += _astray(case, case.shape)
        found += _opens(case, case.shape)
        found += _shorts(case, case.shape)
    high = list(high_findings(case))
    found += [finding for _, finding in high]
    found += resistor_findings(case)
    strained = {net for net, _ in high}
    found += uneven_findings(case)
    if case.lead.loudspeaker:
        found += loss_findings(case, strained)
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
        pair = pair_said(case, one, other)
        if clump == case.shape.clump_of[other]:
            words.append(
                f"{capital(pair)} reads {reading_said(case.reading(one, other))}, yet the way round by other pins reads "
                f"{ohms_words(way)} in all: that cannot be. Press the probes on and measure these again."
            )
        else:
            words.append(
                f"{capital(pair)} reads {ohms_words(way)}, yet pins joined to them read far more: that cannot be. Fingers on "
                "both probes read like a leak; measure these again."
            )
    return words


def _channels(case: Case, shape: Shape) -> Iterator[Finding]:
    for ring in rings_of(shape.moved):
        named = [case.wiring.channel_words(c) for c in ring]
        if len(ring) == 2:
            title = f"Channels {named[0]} and {named[1]} swapped"
        else:
            title = f"Channels {listed(named)} in the wrong order"
        reach = [f"channel {a} comes out as {b}" for a, b in zip(named, [*named[1:], named[0]], strict=True)]
        pins = [p for p, net in enumerate(case.wiring.net_index) if net_at(case, net).channel in ring]
        yield Finding(
            name=Name.CHANNELS_SWAPPED,
            title=title,
            text=f"{capital('; '.join(reach))}.",
            effect="Everything on these lines comes up on another fader; a line check finds it, and loses minutes.",
            repair="Swap the tails' plugs or their labels; for the stage box, swap the cores behind its sockets.",
            pins=names_of(case, pins),
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
            told.append(_astray_said(case, shape, pin, rest, place))
            pins += [*rest, pin, place]
        moved = [p for p, _, _ in placed]
        nets = [net_at(case, shape.net_of[p]) for p in moved]
        legs = (
            len(placed) == 2
            and wiring.end_index[moved[0]] == wiring.end_index[moved[1]]
            and (PARTNERS.get(nets[0].role) == nets[1].role or PARTNERS.get(nets[1].role) == nets[0].role)
            and nets[0].pair == nets[1].pair
            and nets[0].channel == nets[1].channel
        )
        places = listed(sorted(pin_name(wiring.pins[p]) for p in moved))
        where = wiring.pins[moved[0]][0]
        channel = channel_at(case, moved)
        at = f" of channel {wiring.channel_words(channel)}" if channel is not None and legs else ""
        if legs:
            title = f"Legs swapped: pins {places}{at} at {where}"
        elif len(placed) == 2 and wiring.end_index[moved[0]] == wiring.end_index[moved[1]]:
            title = f"Pins {pins_said(case, moved)} swapped"
        else:
            title = f"Miswired: {pins_said(case, moved)}"
        yield Finding(
            name=Name.LEGS_SWAPPED if legs else Name.MISWIRED,
            title=title,
            text=f"{capital('; '.join(told))}.",
            effect=effects.swap_effect(nets, family),
            repair=effects.SWAP_REPAIR,
            pins=names_of(case, pins),
            channel=channel,
        )


def _astray_said(case: Case, shape: Shape, pin: int, rest: list[int], place: int) -> str:
    """Say which pin reaches a wrong one and which it should reach, the end that comes first as the one that reaches."""
    home = [
        p
        for p in shape.judged.get(shape.net_of[pin], ())
        if p != pin and case.wiring.end_index[p] != case.wiring.end_index[pin]
    ]
    if rest and home and case.wiring.end_index[pin] < min(case.wiring.end_index[p] for p in rest):
        return f"{pin_said(case, pin)} reaches {pins_said(case, rest)} instead of {pins_said(case, home)}"
    verb = "reaches" if len(rest) == 1 else "reach"
    return f"{pins_said(case, rest)} {verb} {pin_said(case, pin)} instead of {pin_said(case, place)}"


def _opens(case: Case, shape: Shape) -> Iterator[Finding]:
    family = family_of(case.wiring)
    gone = list(_nothing_through(case, shape))
    merged = {net for nets, _ in gone for net in nets}
    for nets, channel in gone:
        everyone = [p for n in nets for p in case.wiring.net_pins[n]]
        near = pins_words(case.wiring.pins[p] for p in everyone if case.wiring.end_index[p] == 0)
        where = "" if channel is None else f" on channel {case.wiring.channel_words(channel)}"
        yield Finding(
            name=Name.NOTHING_THROUGH,
            title=f"Nothing gets through{where}",
            text=f"None of {near} reaches the far end.",
            effect="Dead on its line." if family is not effects.Family.LOUDSPEAKER else "The loudspeaker stays silent.",
            repair="Make sure that both plugs are those of this lead; then open them: it is cut through, or pulled out.",
            pins=names_of(case, everyone),
            channel=channel,
        )
    for net, pins in shape.opens:
        if net in merged or case.is_doubtful(*pins):
            continue
        told = net_at(case, net)
        home = next((c for c, mine in shape.owners.items() if net in mine), None)
        rest = [p for p in shape.judged.get(net, []) if p not in pins and shape.clump_of[p] == home]
        if rest:
            read = min((case.reading(p, q) for p in pins for q in rest), default=inf)
            said = "no connection" if read == inf else f"{ohms_words(read)}, which is as good as nothing"
            first, then = (pins, rest) if min(pins) < min(rest) else (rest, pins)
            verb = "does" if len(first) == 1 else "do"
            text = f"{pins_said(case, first)} {verb} not reach {pins_said(case, then)}: {said}."
        else:
            text = f"{pins_said(case, pins)} reach{'es' if len(pins) == 1 else ''} nothing."
        everyone = [*pins, *rest]
        yield Finding(
            name=Name.SHIELD_OPEN if told.is_screen else Name.OPEN,
            title=f"{capital(net_words(told))} open",
            text=text,
            effect=effects.open_effect(told, family),
            repair=effects.joint_repair(pins_said(case, everyone)),
            pins=names_of(case, everyone),
            channel=told.channel if told.channel is not None else channel_at(case, everyone),
        )


def _nothing_through(case: Case, shape: Shape) -> Iterator[tuple[list[int], int | None]]:
    """Yield the nets of each channel, or of the whole lead, that are all open from one end to the other."""
    wiring, ends = case.wiring, case.wiring.end_index
    opens = {net for net, pins in shape.opens if not case.is_doubtful(*pins)}
    by_channel: dict[int | None, list[int]] = {}
    for n in range(wiring.joined_nets):
        by_channel.setdefault(wiring.nets[n].channel, []).append(n)
    for channel, nets in by_channel.items():
        pairs = all(len(wiring.net_pins[n]) == 2 and len({ends[p] for p in wiring.net_pins[n]}) == 2 for n in nets)
        if len(nets) >= LEAST_NETS and pairs and opens.issuperset(nets):
            yield nets, channel


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
            yield _short(case, [by_net[n] for n in others], [net_at(case, n) for n in others], family)
        if shells:
            yield _shell(
                case, [p for n in shells for p in by_net[n]], [by_net[n] for n in others], [net_at(case, n) for n in others]
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
        text=f"{pair_said(case, one, other, 'and')} must be apart and read {reading_said(read)}.",
        effect=effect,
        repair=" ".join([*_likelier_end(case, groups), effects.SHORT_REPAIR]),
        pins=names_of(case, pins),
        channel=channel_at(case, pins),
    )


def _likelier_end(case: Case, groups: Sequence[Sequence[int]]) -> list[str]:
    """Say at which end a short is nearer: the end where the same cores read clearly less."""
    least: dict[int, float] = {}
    ends = case.wiring.end_index
    for n, one in enumerate(groups):
        for other in groups[n + 1 :]:
            for p in one:
                for q in other:
                    value = case.book.get(p, q)
                    if ends[p] == ends[q] and value is not None and 0 <= value < case.limits.open_ohm:
                        least[ends[p]] = min(value, least.get(ends[p], inf))
    if len(least) < 2:
        return []
    (near, low), (_, next_low), *_ = sorted(least.items(), key=lambda row: row[1])
    if next_low - low <= max(case.limits.guard_ohm, NEARER_SHARE * next_low):
        return []
    name = case.wiring.ends[near].name
    return [f"Look in end {name} first: it reads {ohms_words(low)} there, and {ohms_words(next_low)} from the other end."]


def _shell(case: Case, shells: list[int], groups: list[list[int]], nets: list[Net]) -> Finding:
    harmless = all(net.role is Role.SCREEN for net in nets)
    read, one, other = _nearest(case, [shells, [p for g in groups for p in g]] if groups else [[s] for s in shells])
    with_what = listed([net_words(net) for net in nets]) if nets else "the other shell"
    pins = [*shells, *(p for g in groups for p in g)]
    return Finding(
        name=Name.SHELL,
        title=f"{capital(with_what)} tied to the shell",
        text=f"{pair_said(case, one, other, 'and')} must be apart and read {reading_said(read)}.",
        effect=effects.SHELL_EFFECT if harmless else "Shorted to everything the plug touches: hum, no phantom, or no signal.",
        repair=effects.SHELL_REPAIR,
        pins=names_of(case, pins),
        channel=channel_at(case, pins),
        weight=Verdict.WATCH if harmless else Verdict.FAIL,
    )


def _leaks(case: Case, shape: Shape) -> Iterator[Finding]:
    for value, one, other in shape.leaks:
        if case.is_doubtful(one, other):
            continue
        pins = [case.wiring.pins[p] for p in sorted((one, other))]
        mild = value >= SURE_LEAK_SHARE * case.limits.leak_ohm
        harmless = any(map(is_shell, pins)) and all(
            is_shell(case.wiring.pins[p]) or net_at(case, shape.net_of[p]).role is Role.SCREEN for p in (one, other)
        )
        yield Finding(
            name=Name.LEAK,
            title=f"Leak between {pins_words(pins)}",
            text=f"{ohms_words(value)}; {ohms_words(case.limits.leak_ohm)} at least is meant: damp, flux, or insulation gone.",
            effect=effects.LEAK_EFFECT,
            repair=effects.LEAK_REPAIR,
            pins=names_of(case, [one, other]),
            channel=channel_at(case, [one, other]),
            weight=Verdict.WATCH if mild or harmless else Verdict.FAIL,
        )
