"""Microphones: proved beside a reference one of the same type, by ear and by level."""

from collections.abc import Mapping

from maintenance.calc.bench import Capability, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.box_gain import MOST_DRAW_MA
from maintenance.calc.steps import OHM, Answers, Found, Says, Step, between, figure_of, finding_of, golden_of, said

NO_PHANTOM = "No phantom on this one: it harms it. Switch phantom off and wait a minute before plugging."
PHANTOM = "Mute before plugging: phantom thumps."
EARS = "Start low: protect your ears."
DRAW_SHARE = 0.5  # a data sheet's draw is a typical one: from memory
LEAST_DRAW_MA = 0.05
COIL_OHM = (10.0, 2000.0)  # from memory; it only ever watches
COIL_OPEN_OHM = 20_000.0
COIL_SHORT_OHM = 1.0
SILENT_DB = 30.0


def lay_out(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> tuple[Step, ...]:
    """Lay out the steps of a microphone; what phantom harms is never fed, a ribbon meets no meter."""
    fed = bool(facts.get("needs_phantom"))
    harmed = bool(facts.get("harmed_by_phantom")) or facts.get("transducer") == "ribbon"
    care = NO_PHANTOM if harmed else PHANTOM if fed else EARS
    return (
        _level(limits, care),
        Step(
            key="sound",
            title="Sounds like the reference one",
            how="Speak into both from the same distance: the same tone, no hum, no hiss, no blown or muffled sound?",
            needs=Capability.LISTEN,
            wanted=True,
            caution=care,
            expect="Yes.",
            proves=("that it sounds right",),
            says=Says(
                name="sounds wrong",
                title="It does not sound like the reference one",
                effect="Muffled, thin, hissing or humming in the show.",
                repair="Clean the grille and foam; then capsule, its wires and the socket.",
            ),
        ),
        Step(
            key="crackle",
            title="Crackles when moved",
            how="Listen while you bend the lead at its plug and turn the plug in the socket: does it crackle or drop out?",
            needs=Capability.LISTEN,
            wanted=False,
            caution=care,
            expect="No.",
            says=Says(
                name="crackles",
                title="It crackles at its socket",
                effect="Bangs and drop-outs whenever it is moved.",
                repair="With a second lead first; then the socket's insert and its wires.",
            ),
        ),
        Step(
            key="switch",
            title="Switch works cleanly",
            how="If it has a switch, work it ten times: off is off, on is on, without a crackle? No switch: yes.",
            needs=Capability.LISTEN,
            wanted=True,
            caution=care,
            expect="Yes.",
            says=Says(
                name="switch bad",
                title="The switch is not clean",
                effect="It comes on late, crackles, or stays off when the singer begins.",
                repair="Clean or bridge the switch.",
            ),
        ),
        Step(
            key="polarity",
            title="Adds up with the reference one",
            how="Both at one mouth, both faders up: does the voice get fuller, rather than thin and hollow?",
            needs=Capability.LISTEN,
            wanted=True,
            caution=care,
            expect="Yes, fuller: both push pin 2 the same way.",
            says=Says(
                name="polarity reversed",
                title="Polarity is reversed",
                effect="Thin and hollow beside any other microphone on the same source.",
                repair="Try another lead first; then the wires on pins 2 and 3, or those of the capsule.",
            ),
        ),
        Step(
            key="rattle",
            title="Rattles",
            how="Shake it beside your ear and press the grille: does anything rattle, or sit loose?",
            wanted=False,
            expect="No.",
            says=Says(
                name="rattles",
                title="Something rattles in it",
                effect="Handling noise, and a capsule that may come off its mount.",
                repair="Tighten grille and insert; look at the capsule's mount.",
                weight=Verdict.WATCH,
            ),
        ),
        *([_draw(facts, limits, golden)] if fed and not harmed else []),
        *([_coil(limits, golden)] if facts.get("transducer") == "dynamic" else []),
    )


def _level(limits: BenchLimits, care: str) -> Step:
    return Step(
        key="level",
        title="Level against the reference one",
        how="Same source, same distance, same gain: read both on the desk's meter; write this one less the reference in dB.",
        unit="dB",
        needs=Capability.LISTEN,
        low=-limits.level_db,
        high=limits.level_db,
        caution=care,
        expect=f"Within {said(limits.level_db, 'dB')} of it.",
        proves=("its level",),
        least=-100,
        most=60,
        slip="Write the difference of two levels in dB.",
        below=Says(
            name="quiet",
            title="Quieter than the reference one",
            effect="More gain, more hiss, and howl comes sooner.",
            repair="Clean the grille and foam; then one leg open in socket or lead, then the capsule.",
        ),
        above=Says(
            name="loud",
            title="Louder than the reference one",
            effect="It stands out of its row; the reference one may be the quiet one.",
            repair="Compare with a third one before opening either.",
        ),
    )


def _draw(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> Step:
    title = "Draw on phantom"
    first, label = golden_of(golden, "draw", title, None), figure_of(facts, "draw_ma")
    if first is not None:
        slack = max(limits.golden_share * first, 0.1)
        low, high = max(0.0, first - slack), first + slack
        expect = f"Its own first reading was {said(first, 'mA')}: {between(low, high, 'mA')}."
    elif label is not None:
        low, high = label * (1 - DRAW_SHARE), label * (1 + DRAW_SHARE)
        expect = f"Its data say {said(label, 'mA')}: {between(low, high, 'mA')}."
    else:
        low, high = LEAST_DRAW_MA, MOST_DRAW_MA
        expect = f"A 48\u2009V input must give {said(MOST_DRAW_MA, 'mA')} and no more."
    high = max(low, min(high, MOST_DRAW_MA))
    return Step(
        key="draw",
        title=title,
        how="Read what it takes from phantom, both legs together, in line with pin 1 or from the drop across the feed.",
        unit="mA",
        needs=Capability.MILLIAMPS,
        low=low,
        high=high,
        watch=first is None,
        first=first,
        floor=LEAST_DRAW_MA,
        ceiling=MOST_DRAW_MA,
        caution=PHANTOM,
        expect=expect,
        least=0,
        most=200,
        slip="Were microamps meant?",
        below=Says(
            name="draw low",
            title="Takes too little from phantom",
            effect="Dead, weak or noisy: part of it gets no supply.",
            repair="Pin 1 of the socket and the path from pins 2 and 3.",
        ),
        above=Says(
            name="draw high",
            title="Takes too much from phantom",
            effect="It sags and distorts when loud, and drags others on a weak supply.",
            repair="Dry it out for a day and read again; then a leaking capacitor.",
        ),
    )


def _coil(limits: BenchLimits, golden: Mapping[str, float]) -> Step:
    title = "Resistance, pins 2 to 3"
    first = golden_of(golden, "coil", title, None)
    low, high = COIL_OHM if first is None else (first * (1 - limits.golden_share), first * (1 + limits.golden_share))
    return Step(
        key="coil",
        title=title,
        how="Nothing plugged in: measure between pins 2 and 3 of its socket; a small click from it is normal.",
        unit=OHM,
        needs=Capability.OHMS,
        low=low,
        high=high,
        watch=first is None,
        first=first,
        floor=COIL_SHORT_OHM,
        ceiling=COIL_OPEN_OHM,
        caution="A dynamic one only: never put a meter across a ribbon.",
        expect=f"{'Typical' if first is None else 'By its own first reading'}: {between(low, high, OHM)}.",
        over=True,
        least=0,
        most=1e9,
        below=Says(
            name="coil low",
            title="Reads too low between pins 2 and 3",
            effect="Quiet or dead.",
            repair="Look for a strand across the socket, then the transformer and coil.",
        ),
        above=Says(
            name="coil open",
            title="Reads too high between pins 2 and 3",
            effect="Quiet, thin or dead: a joint or the coil is going open.",
            repair="Socket insert and its wires, the switch, then the coil.",
        ),
    )


def look(
    steps: tuple[Step, ...], answers: Answers, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]
) -> Found:
    """Find what the level alone names better: a microphone that gives nothing."""
    level = answers.value("level")
    if level is None or level > -SILENT_DB:
        return Found()
    says = Says(
        name="dead",
        title="It gives no signal",
        effect="Dead on its line.",
        repair="Another lead first; phantom if it needs any; then switch, socket, capsule.",
    )
    text = f"It is {said(-level, 'dB')} below the reference one."
    return Found(findings=(finding_of(says, None, text),), instead_of=frozenset({"level"}))
