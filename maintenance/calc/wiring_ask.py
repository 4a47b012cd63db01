"""Which pairs of pins to measure, in which order, and why: short enough for hands, complete enough for a verdict."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from maintenance.calc.bench import Capability, Depth
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.symptoms import Symptom
from maintenance.calc.wiring_limits import Lead, core_limits
from maintenance.calc.wiring_nets import Expect, Role, Wiring, is_shell
from maintenance.calc.wiring_sorting import plan_of
from maintenance.calc.wiring_words import net_words, ohms_words

END_TO_END, WRONG_PAIRS, SAME_END, SHELLS = "end to end", "wrong pairs", "same end", "shells"


@dataclass(frozen=True, kw_only=True)
class Ask:
    """One pair to measure. `limit` is the most ohms that pass, None where there is none; `flex`: bend it while measuring."""

    a: str
    b: str
    expected: Expect
    limit: float | None
    why: str
    group: str
    channel: int | None = None
    flex: bool = False

    @property
    def pair(self) -> tuple[str, str]:
        return self.a, self.b


def pairs_to_ask(
    *,
    wiring: Wiring,
    capabilities: Collection[Capability],
    depth: Depth = Depth.OHMS,
    symptoms: Sequence[Symptom] = (),
    lead: Lead | None = None,
    limits: BenchLimits | None = None,
    temperature_c: float | None = None,
) -> tuple[Ask, ...]:
    """Return the pairs to measure, first what should be joined end to end, then what must be apart, the same end, the shells.

    With a symptom the pairs most likely to find its cause come first in their group. Empty when the shop can measure neither
    continuity nor ohms. Pairs of different channels are not asked by hand: there are too many.
    """
    able = {Capability.CONTINUITY, Capability.OHMS, Capability.MILLIOHMS} & set(capabilities)
    if not able:
        return ()
    reads_ohms = bool(able - {Capability.CONTINUITY}) and depth in (Depth.OHMS, Depth.OHMS_FLEXED)
    flex = depth in (Depth.LAMPS_FLEXED, Depth.OHMS_FLEXED)
    held = (
        core_limits(lead=lead, limits=limits, temperature_c=temperature_c) if lead is not None and limits is not None else None
    )
    asks: list[tuple[int, Ask]] = []
    for net in wiring.nets[: wiring.joined_nets]:
        first, bound = net.pins[0], held.of(is_screen=net.is_screen) if held is not None and reads_ohms else None
        for other in net.pins[1:]:
            rank, reason = _hint(net.role, net.is_screen, symptoms)
            why = reason or f"{net_words(net)} must reach through" + (
                f", {ohms_words(bound.pass_ohm)} at most" if bound else ""
            )
            most = bound.pass_ohm if bound else None
            asks.append((rank, _ask(first, other, Expect.JOINED, most, why, END_TO_END, net.channel, flex)))
    if reads_ohms:
        asks += [
            (
                0,
                _ask(
                    r.a,
                    r.b,
                    Expect.RESISTOR,
                    r.ohm * (1 + r.percent / 100),
                    f"a resistor of {r.ohm:g} Ω",
                    END_TO_END,
                    None,
                    flex,
                ),
            )
            for r in wiring.resistors
        ]
    asks += _apart(wiring, symptoms, flex)
    order = {END_TO_END: 0, WRONG_PAIRS: 1, SAME_END: 2, SHELLS: 3}
    asks.sort(key=lambda row: (order[row[1].group], row[0]))
    return tuple(ask for _, ask in asks)


def _ask(a: str, b: str, expected: Expect, limit: float | None, why: str, group: str, channel: int | None, flex: bool) -> Ask:
    return Ask(a=a, b=b, expected=expected, limit=limit, why=why, group=group, channel=channel, flex=flex)


def _apart(wiring: Wiring, symptoms: Sequence[Symptom], flex: bool) -> Iterator[tuple[int, Ask]]:
    plan, nets = plan_of(wiring), wiring.nets
    wet = Symptom.WET in symptoms
    for key in sorted(plan.needed):
        a, b = divmod(key, len(nets))
        special = wiring.special.get((a, b))
        if special is not None and special.kind is Expect.RESISTOR:
            continue
        one, other = _across(wiring, a, b)
        why = "damp shows here first" if wet else f"{net_words(nets[a])} and {net_words(nets[b])} must be apart"
        if special is not None:
            yield (
                0,
                _ask(one, other, Expect.MAYBE, None, f"at least {special.low or 0:g} Ω", WRONG_PAIRS, nets[a].channel, flex),
            )
        else:
            yield 0, _ask(one, other, Expect.OPEN, None, why, WRONG_PAIRS, nets[a].channel, flex)
    for end in wiring.ends:
        here = [p for p in wiring.pins if p[0] == end.name]
        pins = [p for p in here if not is_shell(p)]
        for n, one in enumerate(pins):
            for other in pins[n + 1 :] if len(wiring.ends) > 1 else ():
                a, b = wiring.net_index[wiring.index[one]], wiring.net_index[wiring.index[other]]
                if plan.group[a] == plan.group[b] and wiring.expected(one, other).kind is Expect.OPEN:
                    why = f"{net_words(nets[a])} and {net_words(nets[b])} must be apart at this end"
                    yield 0, _ask(one, other, Expect.OPEN, None, why, SAME_END, nets[a].channel, flex)
        for shell in (p for p in here if is_shell(p)):
            for one in pins:
                if wiring.expected(one, shell).kind is Expect.OPEN:
                    screen = wiring.net_of(one).is_screen
                    rank = 0 if screen else 1
                    why = "a screen on the shell makes ground loops" if screen else "nothing may touch the shell"
                    yield rank, _ask(one, shell, Expect.OPEN, None, why, SHELLS, wiring.net_of(one).channel, flex)


def _across(wiring: Wiring, a: int, b: int) -> tuple[str, str]:
    pairs = [(p, q) for p in wiring.nets[a].pins for q in wiring.nets[b].pins]
    return min(pairs, key=lambda pq: pq[0][0] == pq[1][0])


def _hint(role: Role, is_screen: bool, symptoms: Sequence[Symptom]) -> tuple[int, str]:
    """Return how early a pair is asked for what a hand has said, and why."""
    told = set(symptoms)
    if is_screen and told & {Symptom.HUMS, Symptom.NO_PHANTOM}:
        word = "hums" if Symptom.HUMS in told else "no phantom"
        return -1, f"“{word}”: an open or weak screen is the first suspect"
    if role in (Role.HOT, Role.COLD) and told & {Symptom.THIN, Symptom.QUIET}:
        return -1, "“thin” or “quiet”: one open leg is the first suspect"
    if told & {Symptom.CRACKLES, Symptom.INTERMITTENT}:
        return 0, "“crackles”: bend it at both plugs while measuring, and keep the worst"
    if not is_screen and Symptom.DEAD in told:
        return -1, "“dead”: an open core or a short of the two legs"
    return 0, ""
