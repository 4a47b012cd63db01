"""Active direct boxes: gain on each of their supplies, what they draw, and whether they stop drawing when unplugged.

The least that proves one, channel by channel: that it works (gain on cells or phantom, or ears), and its pins (polarity,
isolation, the lift, the through socket, or ears). What else was left out is named.
"""

from collections.abc import Mapping

from maintenance.calc.bench import Capability, Finding, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.box_gain import MOST_DRAW_MA, expected_gain, granted, least_phantom_v, loading_db, loads
from maintenance.calc.box_steps import LEVEL_CAUTION, PINS, channels_of, crackle, joins, pads, polarity, sound
from maintenance.calc.boxes import GAIN_HIGH, GAIN_LOW, SILENT_DB, named_gain
from maintenance.calc.steps import OHM, Answers, Found, Says, Step, between, figure_of, finding_of, golden_of, keyed, said

GAIN_DB = (-26.0, 2.0)  # 0 dB or about -20: from memory
LEAST_DRAW_MA = 0.05
HIGH_INPUT_OHM = 500_000.0  # below it a pickup is loaded anyway: from memory
MOST_SERIES_OHM = 1e6  # above it the strays of the bench decide: derived, 10 pF at 1 kHz is 16 megohms
INPUT_SPREAD = (2.0, 0.5)  # of the figure in a data sheet: proposal
DEAF_DB = 6.0
DRAW_SHARE = 0.5  # a data sheet's draw is a typical one: from memory
IDLE_DRAW_MA = 0.1  # what a box switched by its input socket may take with the plug out: proposal
PHANTOM_CAUTION = "Mute before plugging: phantom thumps."

# base key -> title, what feeds it
_FEEDS = {
    "gain-cells": ("Gain on cells", "on fresh cells, phantom off"),
    "gain-phantom": ("Gain on phantom", "on phantom, cells out"),
    "gain-low-cells": ("Gain on low cells", ""),
    "gain-low-phantom": ("Gain on low phantom", ""),
}


def lay_out(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> tuple[Step, ...]:
    """Lay out the steps of an active box, channel by channel, what finds most first."""
    steps: list[Step] = []
    feeds = _feeds(facts)
    for channel in channels_of(facts):
        gains = tuple(keyed(base, channel) for base in feeds)
        steps += [
            *(_gain(base, facts, limits, golden, channel) for base in feeds),
            *([_draw(facts, limits, golden, channel)] if facts.get("runs_on_phantom") else []),
            *joins(facts, channel),
            *_loading(facts, limits, golden, channel),
            *pads(facts, limits, channel),
            polarity(facts, channel),
            sound(channel, gains, ("that it works", PINS)),
            crackle(channel),
        ]
    if facts.get("switched_by_input_jack") and facts.get("runs_on_cells"):
        steps.append(_idle())
    return tuple(steps)


def _feeds(facts: Mapping[str, object]) -> list[str]:
    """Return the supplies a type runs on; a type that says neither is taken to run on phantom."""
    cells, phantom = bool(facts.get("runs_on_cells")), bool(facts.get("runs_on_phantom"))
    feeds = [*(["gain-cells"] if cells else []), *(["gain-phantom"] if phantom or not cells else [])]
    if cells and figure_of(facts, "least_supply_v") is not None:
        feeds.append("gain-low-cells")
    if phantom:
        feeds.append("gain-low-phantom")
    return feeds


def _gain(
    base: str, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float], channel: int | None
) -> Step:
    title, fed = _FEEDS[base]
    needs = Capability.TONE
    if base == "gain-low-cells":
        volts = figure_of(facts, "least_supply_v") or 0.0
        fed, needs = f"from the bench supply at {said(volts, 'V')} in place of the cells", Capability.SUPPLY
    elif base == "gain-low-phantom":
        volts = least_phantom_v(figure_of(facts, "draw_ma"))
        fed = f"on phantom brought down until {said(volts, 'V')} are left at the box"
        needs = Capability.SUPPLY
    first = next((g for g in (golden_of(golden, b, _FEEDS[b][0], channel) for b in (base, *_FEEDS)) if g is not None), None)
    span, load = expected_gain(facts), loads(facts)[1]
    watch = False
    if first is not None:
        low, high = first - limits.gain_db, first + limits.gain_db
        expect = f"Its own first reading was {said(first, 'dB')}."
    elif span is not None:
        low, high = span[0] - limits.gain_db, span[1] + limits.gain_db
        expect = f"Its ratio predicts {between(low, high, 'dB')}."
    else:
        (low, high), watch = GAIN_DB, True
        expect = f"No first reading yet; such boxes read {between(low, high, 'dB')}."
    if base in {"gain-low-cells", "gain-low-phantom"}:
        expect += f" It may lose at most {said(limits.gain_db, 'dB')} against the full supply."
    return Step(
        key=keyed(base, channel),
        title=title,
        how=f"Run it {fed}: 1\u2009kHz in, pads out, {said(load, OHM)} on the output; write output less input in dB.",
        unit="dB",
        needs=needs,
        low=low,
        high=high,
        watch=watch,
        first=first,
        floor=low - SILENT_DB,
        channel=channel,
        caution=PHANTOM_CAUTION if "phantom" in base else LEVEL_CAUTION,
        expect=expect,
        proves=("that it works",) if base in {"gain-cells", "gain-phantom"} else (),
        least=-140,
        most=60,
        slip="Write the difference of two levels in dB; a loss is negative.",
        below=GAIN_LOW,
        above=GAIN_HIGH,
    )


def _draw(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float], channel: int | None) -> Step:
    title = "Draw on phantom"
    first, label = golden_of(golden, "draw", title, channel), figure_of(facts, "draw_ma")
    watch = first is None
    if first is not None:
        slack = max(limits.golden_share * first, 0.1)
        low, high = max(first - slack, 0.0), min(first + slack, MOST_DRAW_MA)
        expect = f"Its own first reading was {said(first, 'mA')}: {between(low, high, 'mA')}."
    elif label is not None:
        low, high = label * (1 - DRAW_SHARE), min(label * (1 + DRAW_SHARE), MOST_DRAW_MA)
        expect = f"Its data say {said(label, 'mA')}: {between(low, high, 'mA')}."
    else:
        low, high = LEAST_DRAW_MA, MOST_DRAW_MA
        expect = f"A 48\u2009V input must give {said(MOST_DRAW_MA, 'mA')} and no more."
    return Step(
        key=keyed("draw", channel),
        title=title,
        how="Read what it takes from phantom, both legs together, in line with pin 1 or from the drop across the feed.",
        unit="mA",
        needs=Capability.MILLIAMPS,
        low=low,
        high=max(high, low),
        watch=watch,
        first=first,
        floor=LEAST_DRAW_MA,
        ceiling=MOST_DRAW_MA,
        channel=channel,
        caution=PHANTOM_CAUTION,
        expect=expect,
        least=0,
        most=200,
        slip="Were microamps meant?",
        below=Says(
            name="draw low",
            title="Takes too little from phantom",
            effect="Part of it gets no supply: dead, weak or distorted on phantom.",
            repair="Pin 1 and the path from pins 2 and 3 to its supply.",
        ),
        above=Says(
            name="draw high",
            title="Takes too much from phantom",
            effect="Its own volts sag and it distorts; others fed by the same rail sag with it.",
            repair="A leaking capacitor or a part that is going: look before it fails.",
        ),
    )


def _loading(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float], channel: int | None) -> list[Step]:
    """Lay out what shows whether the input still has its impedance: a resistor in series, and by how much the level falls.

    A generator does not notice an input that has gone low; a pickup does.
    """
    told = figure_of(facts, "input_ohm")
    if told is None or told < HIGH_INPUT_OHM:
        return []
    title = "Fall through a series resistor"
    series = min(told, MOST_SERIES_OHM)
    first = golden_of(golden, "loading", title, channel)
    if first is not None:
        low, high = max(0.0, first - limits.gain_db), first + limits.gain_db
        expect = f"Its own first reading was {said(first, 'dB')}."
    else:
        low, high = (-loading_db(source_ohm=series, load_ohm=told * factor) for factor in INPUT_SPREAD)
        expect = f"An input of {said(told, OHM)} gives {between(low, high, 'dB')}."
    return [
        Step(
            key=keyed("loading", channel),
            title=title,
            how=f"Same tone through {said(series, OHM)} in series with the tip: write by how many dB the level falls.",
            unit="dB",
            needs=Capability.TONE,
            low=low,
            high=high,
            watch=first is None,
            first=first,
            ceiling=high + DEAF_DB,
            channel=channel,
            caution=LEVEL_CAUTION,
            expect=expect,
            least=-5,
            most=100,
            slip="Write the fall as a plain number.",
            below=Says(
                name="input impedance high",
                title="The input loads less than its data say",
                effect="None to hear; the type's input impedance may be wrong.",
                repair="Compare with another of its type, and correct the type.",
                weight=Verdict.WATCH,
            ),
            above=Says(
                name="input impedance low",
                title="The input loads its source too much",
                effect="Thin and dull from pickups, though a keyboard sounds right.",
                repair="Damp or dirt at the input socket first; then the protection parts behind it.",
            ),
        )
    ]


def _idle() -> Step:
    return Step(
        key="idle-draw",
        title="Draw on cells, plug out",
        how="Milliamps in line with the cells, phantom off, nothing in the input: what does it take?",
        unit="mA",
        needs=Capability.MILLIAMPS,
        high=IDLE_DRAW_MA,
        expect=f"Next to nothing, {between(None, IDLE_DRAW_MA, 'mA')}: the input socket switches it off.",
        least=0,
        most=2000,
        slip="Were microamps meant?",
        above=Says(
            name="drains in the case",
            title="It keeps drawing with the plug out",
            effect="Its cells are flat by the next show though nobody used it.",
            repair="The switch contact of the input socket.",
        ),
    )


_DEAD_ON = {
    "gain-cells": Says(
        name="dead on cells",
        title="Dead on cells",
        effect="Where phantom fails or is off, the line is dead.",
        repair="Cell clips and their wires, the input socket's switch, then the supply change-over.",
    ),
    "gain-phantom": Says(
        name="dead on phantom",
        title="Dead on phantom",
        effect="The line is dead as soon as its cells are.",
        repair="Pin 1, the lift switch, then the path from pins 2 and 3 to its supply.",
    ),
}
_SAGS_ON = {
    "gain-low-cells": Says(
        name="fades on low cells",
        title="Gets quieter on low cells",
        effect="It fades and distorts before its cells are used up.",
        repair="A supply capacitor or the amplifier itself; until then give it fresh cells or phantom.",
    ),
    "gain-low-phantom": Says(
        name="fades on low phantom",
        title="Gets quieter on low phantom",
        effect="It fades or distorts on an input whose phantom is within its tolerance, at the low end.",
        repair="Its draw first: a leaking part pulls its own supply down. Until then use it on cells.",
    ),
}
_FULL = {"gain-low-cells": ("gain-cells", "gain-phantom"), "gain-low-phantom": ("gain-phantom", "gain-cells")}


def look(
    steps: tuple[Step, ...], answers: Answers, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]
) -> Found:
    """Find what takes two supplies to tell: dead on one, fading on the low one, a pad that stays in."""
    findings: list[Finding] = []
    instead: set[str] = set()
    for channel in dict.fromkeys(step.channel for step in steps):
        for says, text, keys in _channel(channel, answers, facts, limits):
            findings.append(finding_of(says, channel, text))
            instead.update(keys)
    return Found(findings=tuple(findings), instead_of=frozenset(instead), told=granted(facts))


def _channel(
    channel: int | None, answers: Answers, facts: Mapping[str, object], limits: BenchLimits
) -> list[tuple[Says, str, tuple[str, ...]]]:
    gains = {base: answers.value(keyed(base, channel)) for base in _FEEDS}
    found: list[tuple[Says, str, tuple[str, ...]]] = []
    best = max((g for g in gains.values() if g is not None), default=None)
    if best is None:
        return []
    silent = {b for b, g in gains.items() if g is not None and _silent(answers, keyed(b, channel), g)}
    alive = {b for b, g in gains.items() if g is not None} - silent
    for base, says in _DEAD_ON.items():
        gain = gains[base]
        if base in silent and gain is not None and alive:
            found.append((says, f"{_FEEDS[base][0]} reads {said(gain, 'dB')}.", (keyed(base, channel),)))
    if not alive:
        keys = tuple(keyed(b, channel) for b in silent)
        named = Says(
            name="no signal",
            title="No signal comes through",
            effect="Dead on its line.",
            repair="Sockets and switches, then its supply, then the amplifier.",
        )
        return [(named, f"The most that came through was {said(best, 'dB')}.", keys)]
    for base, says in _SAGS_ON.items():
        low = gains[base]
        full = next(((f, gains[f]) for f in _FULL[base] if gains[f] is not None and f not in silent), None)
        if low is None or full is None or full[1] is None:
            continue
        loss = full[1] - low
        if loss > limits.gain_db:
            text = (
                f"{_FEEDS[base][0]} reads {said(low, 'dB')}, {said(loss, 'dB')} below the full supply; "
                f"at most {said(limits.gain_db, 'dB')} is meant."
            )
            found.append((says, text, (keyed(base, channel),)))
    found += _apart(gains, silent, channel, limits)
    stuck = {
        base: told
        for base in ("gain-cells", "gain-phantom")
        if base in alive and (told := named_gain(answers.steps.get(keyed(base, channel)), gains[base], facts))
    }
    if stuck:
        stays_in, text = next(iter(stuck.values()))
        found.append((stays_in, text, tuple(keyed(b, channel) for b in _FEEDS)))
    return found


_QUIETER_ON = {
    "gain-cells": Says(
        name="quieter on cells",
        title="Quieter on cells than on phantom",
        effect="The level jumps when its supply changes over, and it distorts where phantom is off.",
        repair="Cells and their clips first, then the supply change-over.",
    ),
    "gain-phantom": Says(
        name="quieter on phantom",
        title="Quieter on phantom than on cells",
        effect="Weak and distorted once its cells are used up or out.",
        repair="Pin 1, the lift switch, then the path from pins 2 and 3 to its supply.",
    ),
}


def _apart(
    gains: Mapping[str, float | None], silent: set[str], channel: int | None, limits: BenchLimits
) -> list[tuple[Says, str, tuple[str, ...]]]:
    """Hold the two full supplies against each other: what feeds a box must not change its gain."""
    cells, phantom = gains["gain-cells"], gains["gain-phantom"]
    if cells is None or phantom is None or {"gain-cells", "gain-phantom"} & silent:
        return []
    apart = abs(cells - phantom)
    if apart <= limits.gain_db:
        return []
    base = "gain-cells" if cells < phantom else "gain-phantom"
    text = (
        f"{said(cells, 'dB')} on cells and {said(phantom, 'dB')} on phantom: {said(apart, 'dB')} apart, "
        f"at most {said(limits.gain_db, 'dB')} is meant."
    )
    return [(_QUIETER_ON[base], text, (keyed(base, channel),))]


def _silent(answers: Answers, key: str, gain: float) -> bool:
    step = answers.steps.get(key)
    return step is not None and step.floor is not None and gain < step.floor
