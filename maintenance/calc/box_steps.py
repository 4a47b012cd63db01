"""The steps that every direct box shares: isolation, lift both ways, through, pads, polarity, and what ears find."""

from collections.abc import Mapping

from maintenance.calc.bench import Capability
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.box_gain import is_isolator
from maintenance.calc.steps import Says, Step, between, count, figure_of, keyed, said

TAP_CAUTION = (
    "A direct box is not a load: at loudspeaker level it goes beside the loudspeaker, pad first, and a valve amplifier keeps "
    "its loudspeaker or a dummy load."
)
LEVEL_CAUTION = "Start low."
METER_CAUTION = "Continuity or ohms only: never an insulation tester into a box."

PINS = "its pins: polarity, through, lift or isolation"  # any of these shows that the sockets reach where they should

_SWITCH = "Clean or replace the lift switch; look for a solder bridge or a case screw that joins both sides."


def channels_of(facts: Mapping[str, object]) -> list[int | None]:
    channels = count(facts, "channels")
    return [None] if channels == 1 else list(range(1, channels + 1))


def joins(facts: Mapping[str, object], channel: int | None) -> list[Step]:
    """Lay out what must be joined and what must not: isolation, lift both ways, through."""
    steps = []
    if facts.get("transformer_isolated"):
        steps.append(
            Step(
                key=keyed("isolation", channel),
                proves=(PINS,),
                title="Output joined to input",
                how=f"Lift on: measure from output pins 2 and 3 to {_poles(facts)}. Is any of them joined, or below 1\u2009MΩ?",
                needs=Capability.CONTINUITY,
                wanted=False,
                channel=channel,
                caution=METER_CAUTION,
                expect="No: the transformer keeps input and output apart.",
                says=Says(
                    name="not isolated",
                    title="Input and output are joined",
                    effect="It no longer breaks a hum loop, and puts one piece of gear's fault on another.",
                    repair="Look for a bridged joint, a crushed wire, or a winding shorted to its neighbour.",
                ),
            )
        )
    if facts.get("ground_lift"):
        steps += [_lift(facts, channel, on=False), _lift(facts, channel, on=True)]
    if not is_isolator(facts):
        steps.append(
            Step(
                key=keyed("through", channel),
                proves=(PINS,),
                title="Through joined to input",
                how="Tip of the input to tip of the through socket, sleeve to sleeve: are both joined?",
                needs=Capability.CONTINUITY,
                wanted=True,
                channel=channel,
                expect="Yes, both.",
                says=Says(
                    name="through open",
                    title="The through socket is open",
                    effect="The player's amplifier stays silent, or hums with its sleeve open.",
                    repair="Socket contacts and their joints.",
                ),
            )
        )
    return steps


def _poles(facts: Mapping[str, object]) -> str:
    return "every pole of the input" if is_isolator(facts) else "the input's tip and sleeve"


def _lift(facts: Mapping[str, object], channel: int | None, *, on: bool) -> Step:
    ground = "the input's pin 1 or sleeve" if is_isolator(facts) else "the input's sleeve"
    return Step(
        key=keyed("lift-on" if on else "lift-off", channel),
        proves=(PINS,),
        title=f"Pin 1 joined to sleeve, lift {'on' if on else 'off'}",
        how=(
            f"Switch to lift: is pin 1 of the output joined to {ground}? "
            "A part of 1\u2009kΩ or more across the gap counts as no."
            if on
            else f"Switch to ground: is pin 1 of the output joined to {ground}?"
        ),
        needs=Capability.CONTINUITY,
        wanted=not on,
        channel=channel,
        caution="The lift opens an audio shield only. Never lift or cut protective earth to cure hum.",
        expect="No: open." if on else "Yes: close to nothing.",
        says=Says(
            name="lift stuck closed" if on else "ground open",
            title="The lift does not lift" if on else "Pin 1 stays open",
            effect="Hum loops cannot be broken." if on else "Hum and buzz; an active box gets no phantom.",
            repair=_SWITCH if on else "Clean or replace the lift switch; check the wire from pin 1.",
        ),
    )


def pads(facts: Mapping[str, object], limits: BenchLimits, channel: int | None) -> list[Step]:
    steps = []
    for key, column, title in (("pad", "pad_db", "Pad"), ("pad-2", "second_pad_db", "Second pad")):
        label = figure_of(facts, column)
        if label is None:
            continue
        low, high = label - limits.pad_db, label + limits.pad_db
        steps.append(
            Step(
                key=keyed(key, channel),
                title=f"{title} of {said(label, 'dB')}",
                how="Same tone: press the pad and write by how many dB the level falls.",
                unit="dB",
                needs=Capability.TONE,
                low=low,
                high=high,
                floor=label / 2,
                channel=channel,
                caution=TAP_CAUTION if facts.get("loudspeaker_tap") else LEVEL_CAUTION,
                expect=f"Its label says {said(label, 'dB')}: {between(low, high, 'dB')}.",
                least=-5,
                most=100,
                slip="Write the fall as a plain number: 20 for a pad of 20\u2009dB.",
                below=Says(
                    name="pad weak",
                    title=f"{title} takes too little",
                    effect="Hot sources distort though the pad is in.",
                    repair="Pad switch and its resistors; the shunt one open takes least.",
                ),
                above=Says(
                    name="pad strong",
                    title=f"{title} takes too much",
                    effect="With the pad in it is quiet or dead.",
                    repair="Pad switch and its resistors.",
                ),
            )
        )
    return steps


def polarity(facts: Mapping[str, object], channel: int | None) -> Step:
    return Step(
        key=keyed("polarity", channel),
        proves=(PINS,),
        title="Plus in comes out as plus",
        how=f"Polarity tester from {'the hot leg' if is_isolator(facts) else 'tip'} to pin 2: does plus come out as plus?",
        needs=Capability.POLARITY,
        wanted=True,
        channel=channel,
        expect="Yes: pin 2 is hot.",
        says=Says(
            name="polarity reversed",
            title="Polarity is reversed",
            effect="Thin beside another box or a microphone on the same source.",
            repair="Swap the wires on output pins 2 and 3 (or mend the reverse switch).",
        ),
    )


def sound(channel: int | None, stands_in_for: tuple[str, ...], proves: tuple[str, ...]) -> Step:
    return Step(
        key=keyed("sound", channel),
        title="Sounds clean and full",
        how="Play something you know through it into a desk and headphones: clean, full, without hum?",
        needs=Capability.LISTEN,
        wanted=True,
        channel=channel,
        caution="Start low: protect your ears.",
        expect="Yes, as another good box does.",
        proves=proves,
        stands_in_for=stands_in_for,
        says=Says(
            name="sounds wrong",
            title="It does not sound right",
            effect="Whatever you heard, the audience hears.",
            repair="Measure it to find what: gain, windings, pin 1.",
        ),
    )


def crackle(channel: int | None) -> Step:
    return Step(
        key=keyed("crackle", channel),
        title="Crackles when moved",
        how="Listen while you move each plug and work each switch: does it crackle or drop out?",
        needs=Capability.LISTEN,
        wanted=False,
        channel=channel,
        caution="Start low: protect your ears.",
        expect="No.",
        says=Says(
            name="crackles",
            title="It crackles when moved",
            effect="Bangs and drop-outs in the show, whenever somebody steps on the lead.",
            repair="Clean or replace the socket or switch that does it; solder its joints anew.",
        ),
    )
