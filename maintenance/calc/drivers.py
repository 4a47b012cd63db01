"""Loudspeakers by their drivers, and headphones: resistance, polarity, and what a low tone shows."""

from collections.abc import Mapping

from maintenance.calc.bench import Capability, Finding
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.steps import OHM, Answers, Found, Says, Step, between, figure_of, finding_of, golden_of, said

# A moving coil's direct-current resistance is some 0.6 to 0.95 of its nominal impedance: from memory.
COIL_SHARE = (0.6, 1.0)
OPEN_FACTOR = 5.0
SHORT_SHARE = 0.2
HEADPHONE_SHARE = (0.7, 1.3)  # from memory
SIDES_SHARE = 0.15  # the two sides of a pair: proposal
LEAST_HEADPHONE_OHM = 16.0  # what is above this is no loudspeaker: from memory
TONE = "Start low and stay low: protect your ears, and never sweep a high-frequency driver without its limit."
CELL = "A 1.5\u2009V cell for a moment, on low-frequency drivers only, never on a high-frequency one."


def is_headphones(facts: Mapping[str, object]) -> bool:
    """Say whether a loudspeaker type is a pair of headphones, by its impedance."""
    return not facts.get("powered") and (figure_of(facts, "impedance_ohm") or 0) > LEAST_HEADPHONE_OHM


def lay_out(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> tuple[Step, ...]:
    """Lay out the steps of a loudspeaker; one with its own amplifier is heard, not metered."""
    powered = bool(facts.get("powered"))
    return (
        Step(
            key="buzz",
            title="Buzzes or rubs",
            how="Sweep a tone slowly from 30\u2009Hz to 1\u2009kHz at low level: does anything buzz, rub or rattle?",
            needs=Capability.TONE,
            wanted=False,
            caution=TONE,
            expect="No.",
            proves=("that it plays cleanly",),
            says=Says(
                name="buzzes",
                title="It buzzes or rubs",
                effect="Every bass note rasps; the coil wears through.",
                repair="Grille, handles and loose screws first; then the driver.",
            ),
        ),
        Step(
            key="sound",
            title="Sounds full, every way plays",
            how="Play something you know at talking level and put your ear to each driver: do all play, clean?",
            needs=Capability.LISTEN,
            wanted=True,
            caution=TONE,
            expect="Yes.",
            proves=("that it plays cleanly",),
            says=Says(
                name="driver dead",
                title="A driver is dead or sounds wrong",
                effect="No words without the high driver, no body without the low one.",
                repair="The plug on the driver, then the crossover or amplifier, then the driver.",
            ),
        ),
        *([] if powered else [_coil(facts, limits, golden), _cell()]),
        Step(
            key="crackle",
            title="Crackles when moved",
            how="Listen while you move the plug and knock on the cabinet: does it crackle or drop out?",
            needs=Capability.LISTEN,
            wanted=False,
            caution=TONE,
            expect="No.",
            says=Says(
                name="crackles",
                title="It crackles when moved",
                effect="Drop-outs whenever it shakes, which is always.",
                repair="Socket and its push-on joints; the lead-out wires of the cone.",
            ),
        ),
        *([_polarity()] if powered else []),
    )


def _coil(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> Step:
    title = "Resistance at the socket"
    nominal, first = figure_of(facts, "impedance_ohm"), golden_of(golden, "coil", title, None)
    floor = ceiling = None
    if first is not None:
        low, high = first * (1 - limits.golden_share), first * (1 + limits.golden_share)
        expect = f"Its own first reading was {said(first, OHM)}: {between(low, high, OHM)}."
        floor, ceiling = first * SHORT_SHARE, first * OPEN_FACTOR
    elif nominal is not None:
        low, high = nominal * COIL_SHARE[0], nominal * COIL_SHARE[1]
        expect = f"Nominal {said(nominal, OHM)}: {between(low, high, OHM)} to direct current."
        floor, ceiling = nominal * SHORT_SHARE, nominal * OPEN_FACTOR
    else:
        low, high = 1.5, 20.0
        expect = f"The type's impedance is not known; loudspeakers read {between(low, high, OHM)}."
        floor, ceiling = 0.3, 200.0
    return Step(
        key="coil",
        title=title,
        how="Unplug it, null the meter's leads, measure between plus and minus of its socket.",
        unit=OHM,
        needs=Capability.OHMS,
        low=low,
        high=high,
        watch=first is None,
        first=first,
        floor=floor,
        ceiling=ceiling,
        expect=expect,
        over=True,
        least=0,
        most=1e9,
        below=Says(
            name="coil low",
            title="Resistance too low",
            effect="The amplifier sees a heavier load than it is built for.",
            repair="Look for a strand across the socket; then a burnt coil with shorted turns.",
        ),
        above=Says(
            name="coil open",
            title="Resistance too high",
            effect="Quiet, or dead: a coil or a joint is going open.",
            repair="Socket, push-on joints, lead-out wires; then replace the driver.",
        ),
    )


def _cell() -> Step:
    return Step(
        key="cell",
        title="Cone moves outward",
        how="Touch a 1.5\u2009V cell to the socket, plus to plus: does the low driver's cone move outward?",
        needs=Capability.CONTINUITY,
        wanted=True,
        caution=CELL,
        expect="Yes: plus on plus pushes the cone out.",
        says=_REVERSED,
    )


_REVERSED = Says(
    name="polarity reversed",
    title="Polarity is reversed",
    effect="Bass vanishes between it and its neighbour.",
    repair="Swap the two wires at the socket or the driver. A crossover may turn one way on purpose: read its plan first.",
)


def _polarity() -> Step:
    return Step(
        key="polarity",
        title="Plus in pushes outward",
        how="Polarity tester into its input, receiver in front of the low driver: does plus come out as plus?",
        needs=Capability.POLARITY,
        wanted=True,
        caution=TONE,
        expect="Yes.",
        says=_REVERSED,
    )


def look(
    steps: tuple[Step, ...], answers: Answers, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]
) -> Found:
    """Add nothing: each step says what it finds."""
    return Found()


def lay_out_headphones(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> tuple[Step, ...]:
    """Lay out the steps of a pair of headphones."""
    return (
        _heard(
            "both", "Both sides play alike", "Play one voice to both sides: both play, equally loud and clean?", "side dead"
        ),
        _heard(
            "middle",
            "One voice stands in the middle",
            "The same voice to both: does it stand in the middle of your head?",
            "polarity",
        ),
        Step(
            key="crackle",
            title="Crackles when the lead is bent",
            how="Listen while you bend the lead at the plug and at each cup: does a side crackle or drop out?",
            needs=Capability.LISTEN,
            wanted=False,
            caution=EARS,
            expect="No.",
            says=Says(
                name="crackles",
                title="Its lead crackles",
                effect="A side goes while you are looking for a fault with them.",
                repair="Shorten the lead behind the break and fit a new plug.",
            ),
        ),
        _side("left", "tip", facts, limits, golden),
        _side("right", "ring", facts, limits, golden),
    )


EARS = "Turn down before putting them on: protect your ears."
_HEARD = {
    "side dead": Says(
        name="side dead",
        title="One side is dead or quieter",
        effect="A fault on one side of what you check stays unheard.",
        repair="Lead at plug and cup, then the driver.",
    ),
    "polarity": Says(
        name="polarity reversed",
        title="The sides are out of step",
        effect="What you check sounds thin and wide; you look for faults that are not there.",
        repair="Swap the two wires of one side.",
    ),
}


def _heard(key: str, title: str, how: str, says: str) -> Step:
    return Step(
        key=key,
        title=title,
        how=how,
        needs=Capability.LISTEN,
        wanted=True,
        caution=EARS,
        expect="Yes.",
        proves=("that both sides play",) if key == "both" else (),
        says=_HEARD[says],
    )


def _side(side: str, pole: str, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> Step:
    title = f"Resistance, {side}"
    nominal, first = figure_of(facts, "impedance_ohm"), golden_of(golden, side, title, None)
    around = first or nominal
    if first is not None:
        low, high = first * (1 - limits.golden_share), first * (1 + limits.golden_share)
    elif nominal is not None:
        low, high = nominal * HEADPHONE_SHARE[0], nominal * HEADPHONE_SHARE[1]
    else:
        low, high = 8.0, 700.0
    return Step(
        key=side,
        title=title,
        how=f"Measure from {pole} to sleeve of the plug.",
        unit=OHM,
        needs=Capability.OHMS,
        low=low,
        high=high,
        watch=first is None,
        first=first,
        floor=(around or 8.0) * SHORT_SHARE,
        ceiling=(around or 700.0) * OPEN_FACTOR,
        caution="Off your head: the meter clicks.",
        expect=f"F{between(low, high, OHM)[1:]}, the other side alike.",
        proves=("that both sides play",) if side == "left" else (),
        over=True,
        least=0,
        most=1e9,
        below=Says(
            name=f"{side} shorted",
            title=f"The {side} side reads too low",
            effect="Quiet or dead on that side.",
            repair="Plug first.",
        ),
        above=Says(
            name=f"{side} open",
            title=f"The {side} side reads too high",
            effect="Dead on that side.",
            repair="Lead at plug and cup.",
        ),
    )


def look_headphones(
    steps: tuple[Step, ...], answers: Answers, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]
) -> Found:
    """Hold the two sides against each other."""
    left, right = answers.value("left"), answers.value("right")
    if left is None or right is None or max(left, right) == float("inf") or min(left, right) <= 0:
        return Found()
    share = abs(left - right) / max(left, right)
    if share <= SIDES_SHARE:
        return Found()
    says = Says(
        name="sides differ",
        title="The two sides differ",
        effect="One side plays louder than the other.",
        repair="The odd side's joints, then its driver.",
    )
    text = f"Left reads {said(left, OHM)}, right {said(right, OHM)}: {share:.0%} apart."
    findings: tuple[Finding, ...] = (finding_of(says, None, text),)
    return Found(findings=findings)
