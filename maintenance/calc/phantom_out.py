"""Phantom power as a desk or stage box gives it: the arithmetic of its feed, and a test that loads it.

Supply, feed resistors, tolerances and currents: IEC 61938 figures as summarised in published pages; the standard itself was
not read. An idle voltage alone proves nothing: with feed resistors far too large it still reads full.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from maintenance.calc.bench import Capability, Finding, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.steps import UNCOUNTED, Answers, Found, Says, Step, between, count, figure_of, finding_of, keyed, said

LOAD_OHM = 1400.0  # draws a P48 input's full 10 mA
OTHER_LOAD_OHM = 3300.0
FEED_TOLERANCE = 0.10
GONE_V = 1.0
GONE_SHARE = 0.05  # of what the other leg gives: a leg that gives less is open. Our proposal.
HOLDS = "that phantom holds under load"


@dataclass(frozen=True, kw_only=True)
class Supply:
    """One phantom supply: volts, its tolerance, ohms a leg, and the current both legs together must give.

    `feed_ohm` None: named in the standard, its figures were not found, so a loaded voltage is recorded and not judged.
    """

    name: str
    volts: float
    tolerance_v: float
    feed_ohm: float | None
    most_ma: float | None


# IEC 61938 figures as summarised in published pages; P12's tolerance is given as 1 V by one and 3 V by another: the tighter.
# SP48 and P12L are named there (2018) without figures: volts and tolerance are those of their namesakes (proposal).
SUPPLIES = {
    s.name: s
    for s in (
        Supply(name="P48", volts=48, tolerance_v=4, feed_ohm=6800, most_ma=10),
        Supply(name="P24", volts=24, tolerance_v=4, feed_ohm=1200, most_ma=10),
        Supply(name="P12", volts=12, tolerance_v=1, feed_ohm=680, most_ma=15),
        Supply(name="SP48", volts=48, tolerance_v=4, feed_ohm=None, most_ma=None),
        Supply(name="P12L", volts=12, tolerance_v=1, feed_ohm=None, most_ma=None),
    )
}


def volts_at_device(*, supply_v: float, feed_ohm: float, current_ma: float) -> float:
    """Return the volts left for a device that draws `current_ma` through both legs (Ohm's law, legs in parallel)."""
    return supply_v - current_ma / 1000 * feed_ohm / 2


def volts_loaded(*, supply_v: float, feed_ohm: float, load_ohm: float) -> float:
    """Return the volts across a resistor from pins 2 + 3 to pin 1."""
    return supply_v * load_ohm / (load_ohm + feed_ohm / 2)


def current_drawn_ma(*, open_v: float, loaded_v: float, feed_ohm: float) -> float:
    """Return what a device draws, from the volts without and with it."""
    return (open_v - loaded_v) * 2 / feed_ohm * 1000


def short_current_ma(*, supply_v: float, feed_ohm: float, legs: int = 2) -> float:
    """Return the current of one leg, or both, shorted to pin 1."""
    return legs * supply_v / feed_ohm * 1000


def power_mw(*, supply_v: float, feed_ohm: float, current_ma: float) -> float:
    """Return the power a device gets at a current."""
    return volts_at_device(supply_v=supply_v, feed_ohm=feed_ohm, current_ma=current_ma) * current_ma


def most_power_mw(*, supply_v: float, feed_ohm: float, most_ma: float) -> float:
    """Return the most power a device can get within the current the supply must give."""
    at_ma = min(most_ma, supply_v / feed_ohm * 1000)
    return power_mw(supply_v=supply_v, feed_ohm=feed_ohm, current_ma=at_ma)


def feed_estimate_ohm(*, open_v: float, loaded_v: float, load_ohm: float) -> float:
    """Return the ohms a leg that a sag from open to loaded volts speaks of, both legs alike; infinity when nothing is left."""
    if loaded_v <= 0:
        return math.inf
    return 2 * load_ohm * (open_v / loaded_v - 1)


def offset_v(*, feed_ohm: float, mismatch_share: float, current_ma: float) -> float:
    """Return the volts between pins 2 and 3 that a mismatch of the feed makes, the legs loaded equally."""
    return current_ma / 2 / 1000 * feed_ohm * mismatch_share


def loaded_range(supply: Supply, load_ohm: float) -> tuple[float, float] | None:
    """Return the least and most volts across a load over the tolerances of supply and feed, or None without figures."""
    if supply.feed_ohm is None:
        return None
    return (
        volts_loaded(
            supply_v=supply.volts - supply.tolerance_v, feed_ohm=supply.feed_ohm * (1 + FEED_TOLERANCE), load_ohm=load_ohm
        ),
        volts_loaded(
            supply_v=supply.volts + supply.tolerance_v, feed_ohm=supply.feed_ohm * (1 - FEED_TOLERANCE), load_ohm=load_ohm
        ),
    )


def device_range(supply: Supply, current_ma: float) -> tuple[float, float] | None:
    """Return the least and most volts at a device over the tolerances of supply and feed, or None without figures."""
    if supply.feed_ohm is None:
        return None
    low, high = supply.volts - supply.tolerance_v, supply.volts + supply.tolerance_v
    return (
        volts_at_device(supply_v=low, feed_ohm=supply.feed_ohm * (1 + FEED_TOLERANCE), current_ma=current_ma),
        volts_at_device(supply_v=high, feed_ohm=supply.feed_ohm * (1 - FEED_TOLERANCE), current_ma=current_ma),
    )


def short_range_ma(supply: Supply, legs: int = 1) -> tuple[float, float] | None:
    """Return the least and most short-circuit current over the tolerances of supply and feed, or None without figures."""
    if supply.feed_ohm is None:
        return None
    low, high = supply.volts - supply.tolerance_v, supply.volts + supply.tolerance_v
    return (
        short_current_ma(supply_v=low, feed_ohm=supply.feed_ohm * (1 + FEED_TOLERANCE), legs=legs),
        short_current_ma(supply_v=high, feed_ohm=supply.feed_ohm * (1 - FEED_TOLERANCE), legs=legs),
    )


def supply_of(facts: Mapping[str, object]) -> Supply:
    """Return the supply a type gives; P48 where its facts do not say."""
    return SUPPLIES.get(str(facts.get("phantom_supply") or "P48"), SUPPLIES["P48"])


MUTE = "Mute the channel and turn its gain down before plugging: phantom thumps."
_EFFECT = "Condenser microphones and phantom-fed boxes stay dead or weak here; dynamic microphones work and hide it."
_COLLAPSES = "Condensers crackle, distort or drop out when it gets loud, though the meter showed full volts at the check."
_FEED = "Measure the two feed resistors of this input, then the phantom rail at its converter with a load on."

_NO_PHANTOM = Says(
    name="no phantom",
    title="No phantom",
    effect=_EFFECT,
    repair="Check that it is switched on, then pin 1 of the socket, the switch and the rail.",
)
_LOW = Says(name="phantom low", title="Phantom low", effect=_EFFECT, repair=_FEED)
_HIGH = Says(
    name="phantom high",
    title="Phantom too high",
    effect="More than devices are built for: it may harm them.",
    repair="Stop using it. The rail's regulator has gone.",
)
_SHORT_LOW = Says(name="feed too large", title="A leg gives too little current", effect=_COLLAPSES, repair=_FEED)
_SHORT_HIGH = Says(
    name="feed too small",
    title="A leg gives too much current",
    effect="The two legs differ, or a bridged resistor heats when a lead is shorted.",
    repair="Measure the two feed resistors of this input.",
    weight=Verdict.WATCH,
)
_SAG = Says(name="collapses", title="Collapses under load", effect=_COLLAPSES, repair=_FEED)
_STIFF = Says(
    name="feed too small",
    title="Sags less than it should",
    effect="Its feed resistors are smaller than they should be; a shorted lead draws more than is meant.",
    repair="Measure the two feed resistors of this input.",
    weight=Verdict.WATCH,
)


def lay_out(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> tuple[Step, ...]:
    """Lay out the steps: each channel's open and loaded volts, then leg by leg the short-circuit current."""
    supply = supply_of(facts)
    inputs = count(facts, "inputs")
    first, second = (
        (OTHER_LOAD_OHM, LOAD_OHM) if figure_of(facts, "phantom_load_ohm") == OTHER_LOAD_OHM else (LOAD_OHM, OTHER_LOAD_OHM)
    )
    channels: list[int | None] = [None] if inputs == 1 else list(range(1, inputs + 1))
    quick = [step for c in channels for step in (_open(supply, 2, c), _open(supply, 3, c), *_loads(supply, first, second, c))]
    return (*quick, *(step for c in channels for step in (_short(supply, 2, c), _short(supply, 3, c))))


def _open(supply: Supply, pin: int, channel: int | None) -> Step:
    low, high = supply.volts - supply.tolerance_v, supply.volts + supply.tolerance_v
    return Step(
        key=keyed(f"open-{pin}", channel),
        title=f"Open volts, pin {pin}",
        how=f"Phantom on, nothing plugged in: measure from pin {pin} to pin 1 of the socket.",
        unit="V",
        needs=Capability.VOLTS,
        low=low,
        high=high,
        channel=channel,
        caution=MUTE,
        expect=f"{supply.name}: {between(low, high, 'V')}, the same on both pins. Good here alone proves nothing.",
        least=0,
        most=60,
        slip="No phantom supply gives that. Were millivolts meant?",
        below=_LOW,
        above=_HIGH,
    )


def _loads(supply: Supply, first: float, second: float, channel: int | None) -> tuple[Step, ...]:
    keys = {LOAD_OHM: keyed("load", channel), OTHER_LOAD_OHM: keyed("load-3k3", channel)}
    return (
        _load(supply, first, keys[first], channel, ()),
        _load(supply, second, keys[second], channel, (keys[first],)),
        _short_both(supply, channel, tuple(keys.values())),
    )


def _load(supply: Supply, ohm: float, key: str, channel: int | None, stands_in_for: tuple[str, ...]) -> Step:
    span = loaded_range(supply, ohm)
    low, high = span or (None, None)
    expect = (
        f"{supply.name}: {between(low, high, 'V')}."
        if span
        else f"{supply.name}: the figures of its feed were not found; the reading is kept and not judged."
    )
    return Step(
        key=key,
        title="Loaded volts" if ohm == LOAD_OHM else f"Loaded volts, {said(ohm, 'Ω')}",
        how=f"Plug in the load, {said(ohm, 'Ω')} from pins 2 and 3 together to pin 1, and measure across it.",
        unit="V",
        needs=Capability.PHANTOM_LOAD,
        low=low,
        high=high,
        channel=channel,
        caution=MUTE,
        expect=expect,
        proves=(HOLDS,),
        stands_in_for=stands_in_for,
        least=0,
        most=60,
        slip="No phantom supply gives that. Were millivolts meant?",
        below=_SAG,
        above=_STIFF,
    )


def _short(supply: Supply, pin: int, channel: int | None) -> Step:
    span = short_range_ma(supply)
    low, high = span or (None, None)
    return Step(
        key=keyed(f"short-{pin}", channel),
        title=f"Short-circuit current, pin {pin}",
        how=f"Milliamps range: join pin {pin} to pin 1 through the meter, the other pin free.",
        unit="mA",
        needs=Capability.MILLIAMPS,
        low=low,
        high=high,
        channel=channel,
        caution=MUTE,
        expect=f"{supply.name}: {between(low, high, 'mA')}, the two legs alike." if span else "Both legs alike.",
        least=0,
        most=200,
        slip="Were microamps meant?",
        below=_SHORT_LOW,
        above=_SHORT_HIGH,
    )


def _short_both(supply: Supply, channel: int | None, stands_in_for: tuple[str, ...]) -> Step:
    span = short_range_ma(supply, legs=2)
    low, high = span or (None, None)
    return Step(
        key=keyed("short-both", channel),
        title="Short-circuit current, both pins",
        how="Milliamps range: join pins 2 and 3 together to pin 1 through the meter, in place of a load.",
        unit="mA",
        needs=Capability.MILLIAMPS,
        low=low,
        high=high,
        channel=channel,
        caution=MUTE,
        expect=f"{supply.name}: {between(low, high, 'mA')}." if span else "Kept and not judged.",
        proves=(HOLDS,),
        stands_in_for=stands_in_for,
        least=0,
        most=200,
        slip="Were microamps meant?",
        below=_SAG,
        above=_STIFF,
    )


def look(
    steps: tuple[Step, ...], answers: Answers, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]
) -> Found:
    """Find what takes two readings of a channel: dead, one leg, collapse under load, legs that differ."""
    supply = supply_of(facts)
    findings: list[Finding] = []
    instead: set[str] = set()
    for channel in dict.fromkeys(step.channel for step in steps):
        for finding, keys in _channel(channel, answers, supply, limits):
            findings.append(finding)
            instead.update(keys)
    reasons = (*(() if figure_of(facts, "inputs") else (UNCOUNTED,)), *_coarse(steps, answers, limits))
    cannot = (f"No figures of {supply.name} under load were found, and open volts alone prove nothing.",)
    return Found(
        findings=tuple(findings),
        instead_of=frozenset(instead),
        reasons=reasons,
        cannot=() if supply.feed_ohm is not None else cannot,
    )


def _channel(
    channel: int | None, answers: Answers, supply: Supply, limits: BenchLimits
) -> list[tuple[Finding, tuple[str, ...]]]:
    def key(base: str) -> str:
        return keyed(base, channel)

    opened = {pin: answers.value(key(f"open-{pin}")) for pin in (2, 3)}
    shorted = {pin: answers.value(key(f"short-{pin}")) for pin in (2, 3)}
    every = tuple(key(b) for b in ("open-2", "open-3", "load", "load-3k3", "short-both", "short-2", "short-3"))
    read = [v for v in opened.values() if v is not None]
    if read and all(v < GONE_V for v in read):
        return [(finding_of(_NO_PHANTOM, channel, f"Without load it reads {_volts(opened)}."), every)]
    span = short_range_ma(supply)
    if span is not None and (dead := _leg_open(shorted, span[0])):
        other = 5 - dead
        leg = Says(
            name="one leg without phantom",
            title=f"The leg of pin {dead} is open",
            effect="Fed through one resistor only, the sag is twice as far and hum comes in; many devices stay dead.",
            repair=f"Feed resistor of pin {dead}, its joints and the socket's contact.",
        )
        text = f"Pin {dead} gives {_milliamps(shorted[dead] or 0.0, 1)}, pin {other} {_milliamps(shorted[other] or 0.0, 1)}."
        return [(finding_of(leg, channel, text), every)]
    found: list[tuple[Finding, tuple[str, ...]]] = []
    gone = [pin for pin, v in opened.items() if v is not None and v < GONE_V]
    if len(gone) == 1:
        leg = Says(
            name="one leg without phantom",
            title=f"No phantom on pin {gone[0]}",
            effect="Fed through one resistor only, the sag is twice as far and hum comes in; many devices stay dead.",
            repair=f"Feed resistor, socket pin {gone[0]} or its joint; a short from that pin to pin 1 reads the same.",
        )
        return [(finding_of(leg, channel, f"Without load it reads {_volts(opened)}."), every)]
    if len(read) == 2 and abs(read[0] - read[1]) > max(0.02 * supply.volts, 0.2):
        uneven = Says(
            name="legs differ",
            title="The legs differ without a load",
            effect="Current leaks away on one leg: noise, and direct current through a transformer.",
            repair="Look for damp, a leaking input capacitor or a wrong resistor on the lower leg.",
        )
        found.append((finding_of(uneven, channel, f"Without load it reads {_volts(opened)}."), ()))
    if len(read) and sum(read) / len(read) >= supply.volts - supply.tolerance_v and supply.feed_ohm is not None:
        idle = sum(read) / len(read)
        for base in ("load", "load-3k3", "short-both"):
            step, loaded = answers.steps[key(base)], answers.value(key(base))
            if loaded is not None and step.low is not None and loaded < step.low:
                found.append((_collapse(step, loaded, idle, shorted, supply), (key(base),)))
    found += _match(channel, shorted, supply, limits)
    return found


def _collapse(step: Step, loaded: float, idle: float, shorted: Mapping[int, float | None], supply: Supply) -> Finding:
    """Tell a supply that reads full when idle and gives way under a load, with what its feed looks like."""
    if step.unit == "mA":
        feed = math.inf if loaded <= 0 else 2 * idle / loaded * 1000
    else:
        load = LOAD_OHM if step.base == "load" else OTHER_LOAD_OHM
        feed = feed_estimate_ohm(open_v=idle, loaded_v=loaded, load_ohm=load)
    like = (
        "nothing is left"
        if math.isinf(feed)
        else f"as if each leg had {said(feed, 'Ω')} instead of {said(supply.feed_ohm or 0, 'Ω')}"
    )
    text = (
        f"Idle looks fine at {said(idle, 'V')} but it collapses under load. {step.title} reads {said(loaded, step.unit)}, "
        f"expected {between(step.low, step.high, step.unit)}: {like}."
    )
    each, span = [v for v in shorted.values() if v is not None], short_range_ma(supply)
    alone = span is not None and len(each) == 2 and all(span[0] <= v <= span[1] for v in each)
    repair = (
        "Each leg alone gives its current, so its resistors are right: the converter behind them is weak." if alone else _FEED
    )
    says = Says(name="collapses", title="Idle looks fine but it collapses under load", effect=_COLLAPSES, repair=repair)
    return finding_of(says, step.channel, text)


def _leg_open(shorted: Mapping[int, float | None], least_ma: float) -> int | None:
    """Return the pin whose leg gives next to nothing while the other gives its current, or None."""
    for dead, other in ((2, 3), (3, 2)):
        nothing, current = shorted[dead], shorted[other]
        if nothing is not None and current is not None and current >= least_ma and nothing < GONE_SHARE * current:
            return dead
    return None


def _match(
    channel: int | None, shorted: dict[int, float | None], supply: Supply, limits: BenchLimits
) -> list[tuple[Finding, tuple[str, ...]]]:
    """Hold the two legs against each other, the last digit of the meter allowed for."""
    two, three = shorted[2], shorted[3]
    if two is None or three is None or max(two, three) <= 0:
        return []
    places = _places(two, three)
    middle = (two + three) / 2
    share = max(0.0, abs(two - three) - 10.0**-places) / middle
    if share <= limits.phantom_match_share + 1e-9:
        return []
    says = Says(
        name="legs differ",
        title="The legs are not alike",
        effect="Noise of the supply comes in as signal, hum is suppressed less, and direct current flows in a transformer.",
        repair="Replace both feed resistors by a matched pair.",
        weight=Verdict.WATCH if share <= FEED_TOLERANCE else Verdict.FAIL,
    )
    apart = abs(two - three) / middle
    text = (
        f"Pin 2 gives {_milliamps(two, places)} and pin 3 {_milliamps(three, places)}: {apart:.{1 if apart < 0.1 else 0}%} "
        f"apart, at most {limits.phantom_match_share:.1%} is meant."
    )
    return [(finding_of(says, channel, text), ())]


def _places(*values: float) -> int:
    """Return to how many decimals currents were written: one at least, for what reads 7.0 is kept as 7."""
    return min(3, max(1, *(len(f"{value:.3f}".rstrip("0").partition(".")[2]) for value in values)))


def _milliamps(value: float, places: int) -> str:
    return f"{value:.{places}f}\u2009mA"


def _coarse(steps: tuple[Step, ...], answers: Answers, limits: BenchLimits) -> tuple[str, ...]:
    """Say where the meter's last digit is coarser than what the two legs are held to."""
    for channel in dict.fromkeys(step.channel for step in steps):
        two, three = (answers.value(keyed(f"short-{pin}", channel)) for pin in (2, 3))
        if two and three and (digit := 10.0 ** -_places(two, three)) > limits.phantom_match_share * (two + three) / 2:
            return (
                f"The legs were read to {digit:g}\u2009mA, and {limits.phantom_match_share:.1%} is less than that: two that "
                "read alike so may still differ.",
            )
    return ()


def _volts(opened: Mapping[int, float | None]) -> str:
    return " and ".join(f"{said(v, 'V')} on pin {pin}" for pin, v in opened.items() if v is not None)
