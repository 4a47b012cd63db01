"""Passive direct boxes and line isolators: transformers, whose windings and gain say whether they are well.

The least that proves one, channel by channel: the input and the output side (gain, or both windings, or ears), and its pins
(polarity, isolation, the lift, the through socket, or ears). What else was left out is named.
"""

import math
from collections.abc import Mapping

from maintenance.calc.bench import Capability, Finding
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.box_gain import expected_gain, granted, is_isolator, loads
from maintenance.calc.box_steps import LEVEL_CAUTION, METER_CAUTION, PINS, channels_of, crackle, joins, pads, polarity, sound
from maintenance.calc.steps import OHM, Answers, Found, Says, Step, between, figure_of, finding_of, golden_of, keyed, said

# Typical windings, from memory: secondary tens of ohms to about 200, primary about 1 to 3 kohm with its pads beside it.
# Wide, for they only ever watch.
SECONDARY_OHM = (5.0, 400.0)
PRIMARY_OHM = (100.0, 15_000.0)
WINDING_SHORT_OHM = 0.5
SECONDARY_OPEN_OHM = 20_000.0
PRIMARY_OPEN_OHM = 1_000_000.0
PASSIVE_GAIN_DB = (-30.0, 1.0)
SILENT_DB = 40.0  # so far below what is expected is no signal

GAIN_LOW = Says(
    name="low gain",
    title="Level too low",
    effect="Thin or quiet on its line; hiss comes up with the gain.",
    repair="Compare the windings with the first reading, then pad switch and sockets.",
)
GAIN_HIGH = Says(
    name="high gain",
    title="Level too high",
    effect="The input it feeds is driven too hard.",
    repair="Pad or ratio is not what the type says: check the switch, and that the type is the right one.",
)
_WINDING = "Transformer, or the joints between it and the socket."


def lay_out(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> tuple[Step, ...]:
    """Lay out the steps of a passive box or isolator, channel by channel, what finds most first."""
    steps: list[Step] = []
    for channel in channels_of(facts):
        steps += [
            _passive_gain(facts, limits, golden, channel),
            _winding("out", facts, limits, golden, channel),
            _winding("in", facts, limits, golden, channel),
            *joins(facts, channel),
            *pads(facts, limits, channel),
            polarity(facts, channel),
            sound(
                channel, (keyed("gain", channel), keyed("winding-out", channel)), ("the input side", "the output side", PINS)
            ),
            crackle(channel),
        ]
    return tuple(steps)


def _passive_gain(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float], channel: int | None) -> Step:
    first = golden_of(golden, "gain", "Gain", channel)
    windings = [golden_of(golden, f"winding-{w}", title, channel) for w, title in _WINDING_TITLES.items()]
    span = expected_gain(facts, primary_ohm=windings[1], secondary_ohm=windings[0])
    load = loads(facts)[1]
    pads_out = "S" if is_isolator(facts) else "Pads out: s"
    watch = False
    if first is not None:
        low, high = first - limits.gain_db, first + limits.gain_db
        expect = f"Its own first reading was {said(first, 'dB')}."
    elif span is not None:
        low, high = span[0] - limits.gain_db, span[1] + limits.gain_db
        ratio = figure_of(facts, "turns_ratio") or 1
        expect = f"{ratio:g}:1 into {said(load, OHM)} predicts {between(low, high, 'dB')}."
    else:
        (low, high), watch = PASSIVE_GAIN_DB, True
        expect = f"The type's turns ratio is not known; such boxes read {between(low, high, 'dB')}."
    return Step(
        key=keyed("gain", channel),
        title="Gain",
        how=f"{pads_out}end 1\u2009kHz into the input, load the output with {said(load, OHM)}; write output less input in dB.",
        unit="dB",
        needs=Capability.TONE,
        low=low,
        high=high,
        watch=watch,
        first=first,
        floor=low - SILENT_DB,
        channel=channel,
        caution=LEVEL_CAUTION,
        expect=expect,
        proves=("the input side", "the output side"),
        least=-140,
        most=60,
        slip="Write the difference of two levels in dB; a loss is negative.",
        below=GAIN_LOW,
        above=GAIN_HIGH,
    )


_WINDING_TITLES = {"out": "Output winding", "in": "Input winding"}


def _winding(
    which: str, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float], channel: int | None
) -> Step:
    title = _WINDING_TITLES[which]
    first = golden_of(golden, f"winding-{which}", title, channel)
    out = which == "out"
    alone = "Nothing plugged in" if is_isolator(facts) else "Pads out, nothing plugged in"
    pins = "pins 2 and 3 of the output" if out else "tip and sleeve of the input"
    if is_isolator(facts):
        pins = "the two legs of the output" if out else "the two legs of the input"
        typical = (SECONDARY_OHM[0], 2000.0)
    else:
        typical = SECONDARY_OHM if out else PRIMARY_OHM
    if first is not None:
        slack = max(limits.golden_share * first, 0.5)
        low, high = max(0.0, first - slack), first + slack
        expect = f"Its own first reading was {said(first, OHM)}: {between(low, high, OHM)}."
    else:
        low, high = typical
        expect = f"No first reading yet; such windings read {between(low, high, OHM)}."
    return Step(
        key=keyed(f"winding-{which}", channel),
        title=title,
        how=f"{alone}: measure between {pins}.",
        unit=OHM,
        needs=Capability.OHMS,
        low=low,
        high=high,
        watch=first is None,
        first=first,
        floor=WINDING_SHORT_OHM,
        ceiling=SECONDARY_OPEN_OHM if out else PRIMARY_OPEN_OHM,
        channel=channel,
        caution=METER_CAUTION,
        expect=expect,
        proves=("the output side",) if out else ("the input side",),
        over=True,
        least=0,
        most=1e9,
        below=Says(
            name=f"{'output' if out else 'input'} winding low",
            title=f"{title} reads low",
            effect="Quiet and thin, or dead: a winding or its wiring is shorted.",
            repair=_WINDING,
        ),
        above=Says(
            name=f"{'output' if out else 'input'} winding high",
            title=f"{title} reads high",
            effect="Quiet, thin or dead: a joint or a winding is going open.",
            repair=_WINDING,
        ),
    )


def look(
    steps: tuple[Step, ...],
    answers: Answers,
    facts: Mapping[str, object],
    limits: BenchLimits,
    golden: Mapping[str, float],
) -> Found:
    """Find what takes more than one reading: no signal, pad stuck, open winding or a capacitor, gain against the windings."""
    findings: list[Finding] = []
    instead: set[str] = set()
    reasons: list[str] = []
    for channel in dict.fromkeys(step.channel for step in steps):
        key = keyed("gain", channel)
        gain = answers.value(key)
        step = answers.steps.get(key)
        primary, secondary = answers.value(keyed("winding-in", channel)), answers.value(keyed("winding-out", channel))
        named = named_gain(step, gain, facts)
        if step is not None and named is not None:
            findings.append(finding_of(named[0], channel, named[1]))
            instead.add(key)
        elif (
            step is not None
            and gain is not None
            and _finite(primary, secondary)
            and (step.low or 0) <= gain <= (step.high or 0)
        ):
            span = expected_gain(facts, primary_ohm=primary, secondary_ohm=secondary)
            first = golden_of(golden, "gain", "Gain", channel)
            if span is not None and first is None and gain < span[0] - limits.gain_db:
                text = (
                    f"Gain is {said(gain, 'dB')}; ratio, load and the windings just measured predict "
                    f"{said(span[0], 'dB')}, give or take {said(limits.gain_db, 'dB')}."
                )
                findings.append(finding_of(GAIN_LOW, channel, text))
        known = golden_of(golden, "winding-in", _WINDING_TITLES["in"], channel) is not None
        if (
            primary == math.inf
            and not known
            and gain is not None
            and step is not None
            and named is None
            and gain >= (step.low or 0)
        ):
            instead.add(keyed("winding-in", channel))
            reasons.append(
                "The input reads open to direct current yet passes the tone: a capacitor in series, as some boxes have."
            )
    return Found(
        findings=tuple(findings), instead_of=frozenset(instead), reasons=tuple(dict.fromkeys(reasons)), told=granted(facts)
    )


def _finite(*values: float | None) -> bool:
    return all(v is not None and math.isfinite(v) for v in values)


def named_gain(step: Step | None, gain: float | None, facts: Mapping[str, object]) -> tuple[Says, str] | None:
    """Name a gain far below what is expected: none at all, or a pad that stays in."""
    if step is None or gain is None or step.low is None or step.high is None or gain >= step.low:
        return None
    wanted = (step.low + step.high) / 2
    if gain < step.low - SILENT_DB:
        says = Says(
            name="no signal",
            title="No signal comes through",
            effect="Dead on its line.",
            repair="Sockets, pad switch, then the windings: one of them is open or shorted.",
        )
        return says, f"{step.title} reads {said(gain, 'dB')}; expected {between(step.low, step.high, 'dB')}."
    for column in ("pad_db", "second_pad_db"):
        label = figure_of(facts, column)
        if label is not None and abs((wanted - gain) - label) <= 2 and not step.watch:
            says = Says(
                name="pad stuck",
                title="The pad stays in",
                effect="Quiet, with hiss when the gain is turned up.",
                repair="Clean or replace the pad switch.",
            )
            fall = said(wanted - gain, "dB")
            text = f"{step.title} reads {said(gain, 'dB')}, {fall} below what is expected: the pad's own figure."
            return says, text
    return None
