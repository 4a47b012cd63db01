"""Inputs of desks and stage boxes, and channels of amplifiers: each beside its neighbours with the same tone."""

from collections.abc import Mapping

from maintenance.calc.bench import Capability, Finding
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.steps import UNCOUNTED, Answers, Found, Says, Step, count, figure_of, finding_of, keyed, neighbours, said

TONE = "Amplifiers off or muted; start low: protect ears and high-frequency drivers."
SILENT_DB = 30.0  # so far below its neighbours is no signal


def lay_out(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> tuple[Step, ...]:
    """Lay out the steps: the level of every channel, then what ears find on each."""
    many = count(facts, "inputs", count(facts, "outputs"))
    channels: list[int | None] = [None] if many == 1 else list(range(1, many + 1))
    return (
        *(_level(limits, c) for c in channels),
        *(_crackle(c) for c in channels),
        *(_noise(c) for c in channels),
        *(_switches(c) for c in channels),
    )


def _level(limits: BenchLimits, channel: int | None) -> Step:
    return Step(
        key=keyed("level", channel),
        title="Level with a tone",
        how="The same 1\u2009kHz tone into each in turn, same gain, pads out, equaliser flat: write what its meter shows.",
        unit="dB",
        needs=Capability.TONE,
        channel=channel,
        caution=TONE,
        expect=f"Within {said(limits.level_db, 'dB')} of its neighbours.",
        proves=("its level",),
        least=-140,
        most=60,
        slip="Write the level in dB as the meter shows it.",
    )


_QUIET = Says(
    name="quiet",
    title="Quieter than its neighbours",
    effect="More gain, more hiss; a lost leg also hums.",
    repair="Socket first: one leg open or bent; then its preamplifier.",
)
_LOUD = Says(
    name="loud",
    title="Louder than its neighbours",
    effect="What is stored for this channel comes out wrong, and it clips first.",
    repair="Pad and gain switches, then its preamplifier.",
)
_DEAD = Says(
    name="dead",
    title="No signal",
    effect="Nothing plugged in here is heard.",
    repair="Routing first; then socket and its ribbon, then the preamplifier.",
)


def _crackle(channel: int | None) -> Step:
    return Step(
        key=keyed("crackle", channel),
        title="Crackles when the plug is moved",
        how="Listen while you move the plug in its socket: does it crackle or drop out?",
        needs=Capability.LISTEN,
        wanted=False,
        channel=channel,
        caution=TONE,
        expect="No.",
        says=Says(
            name="crackles",
            title="The socket crackles",
            effect="Bangs and drop-outs whenever somebody touches the lead.",
            repair="Clean the socket; solder it anew or replace it.",
        ),
    )


def _noise(channel: int | None) -> Step:
    return Step(
        key=keyed("noise", channel),
        title="Hums or hisses",
        how="Nothing plugged in, usual gain: does it hum or hiss more than its neighbours?",
        needs=Capability.LISTEN,
        wanted=False,
        channel=channel,
        caution=TONE,
        expect="No.",
        says=Says(
            name="noise",
            title="More noise than its neighbours",
            effect="Hum or hiss under everything on this channel.",
            repair="Socket's pin 1 to chassis, then the preamplifier.",
        ),
    )


def _switches(channel: int | None) -> Step:
    return Step(
        key=keyed("switches", channel),
        title="Pad and gain work",
        how="Turn the gain from end to end and press the pad, if it has one: smooth, each doing what its label says?",
        needs=Capability.LISTEN,
        wanted=True,
        channel=channel,
        caution=TONE,
        expect="Yes.",
        says=Says(
            name="switches bad",
            title="Gain or pad does not work",
            effect="The level jumps, or a hot source cannot be tamed.",
            repair="Clean the control; replace it if it jumps again.",
        ),
    )


def look(
    steps: tuple[Step, ...], answers: Answers, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]
) -> Found:
    """Hold each channel's level against the median of the others."""
    levels = {
        step.channel: value
        for step in steps
        if step.base == "level" and step.channel is not None and (value := answers.value(step.key)) is not None
    }
    findings: list[Finding] = []
    held: dict[str, tuple[float, float]] = {}
    for channel, away in neighbours(levels).items():
        middle = levels[channel] - away
        held[keyed("level", channel)] = (middle - limits.level_db, middle + limits.level_db)
        if abs(away) <= limits.level_db:
            continue
        says = _DEAD if away < -SILENT_DB else _QUIET if away < 0 else _LOUD
        text = (
            f"It reads {said(levels[channel], 'dB')}, {said(abs(away), 'dB')} {'below' if away < 0 else 'above'} the middle of "
            f"the others; at most {said(limits.level_db, 'dB')} is meant."
        )
        findings.append(finding_of(says, channel, text))
    alone = any(s.base == "level" for s in steps) and levels and len(levels) < 2
    reasons = () if figure_of(facts, "inputs") or figure_of(facts, "outputs") else (UNCOUNTED,)
    cannot = ("One channel's level alone cannot be told from the others: read at least two.",) if alone else ()
    return Found(findings=tuple(findings), held=held, reasons=reasons, cannot=cannot)
