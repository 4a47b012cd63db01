"""What the shop's instruments can do: the plain words for each ability, and what the facts of an instrument's type promise."""

import re
from dataclasses import dataclass

from maintenance.calc.bench import Capability


@dataclass(frozen=True, kw_only=True)
class Ability:
    """One thing an instrument can do: what it is called, an instrument that does it, and what cannot be asked without it."""

    capability: Capability
    name: str
    example: str
    gives: str


# Common practice of the trade, from memory.
ABILITIES = (
    Ability(
        capability=Capability.CONTINUITY,
        name="Say whether two pins are joined",
        example="a lead tester with lamps, a meter that beeps",
        gives="opens, shorts and crossed pins of every lead",
    ),
    Ability(
        capability=Capability.OHMS,
        name="Read ohms",
        example="a multimeter that shows 0.1 ohm steps",
        gives="bad joints before they fail, windings of boxes and drivers",
    ),
    Ability(
        capability=Capability.MILLIOHMS,
        name="Read thousandths of an ohm",
        example="a meter with four test leads",
        gives="loudspeaker leads and short leads, where the meter's own leads hide the fault",
    ),
    Ability(
        capability=Capability.INSULATION,
        name="Try insulation at a high voltage",
        example="an insulation tester of 250 or 500 V",
        gives="damp and crushed cable. Passive cables only, both ends free; never into electronics",
    ),
    Ability(
        capability=Capability.VOLTS,
        name="Read direct volts",
        example="any multimeter",
        gives="phantom power with nothing plugged in, cells",
    ),
    Ability(
        capability=Capability.MILLIAMPS,
        name="Read milliamps",
        example="a multimeter with a milliamp range",
        gives="what a box or a transmitter draws",
    ),
    Ability(
        capability=Capability.PHANTOM_LOAD,
        name="Load a phantom output",
        example="a plug with 1.4 or 3.3 kilohm from pins 2 and 3 to pin 1",
        gives="phantom power that looks fine idle and collapses under load",
    ),
    Ability(
        capability=Capability.TONE,
        name="Send a 1 kHz tone and read a level",
        example="a tone generator, or a desk's own oscillator and its meters",
        gives="gain and pads of boxes, inputs of desks and stage boxes",
    ),
    Ability(
        capability=Capability.SUPPLY,
        name="Stand in for a low cell",
        example="a bench supply turned down to what a spent cell gives",
        gives="active boxes that fail long before their cell is flat",
    ),
    Ability(
        capability=Capability.POLARITY,
        name="Tell polarity",
        example="a polarity tester, or a known good box summed with this one",
        gives="boxes, drivers and microphones wired the wrong way round",
    ),
    Ability(
        capability=Capability.LISTEN,
        name="Listen",
        example="a small desk, headphones and ears",
        gives="crackle, rattle, switches, a microphone beside the reference one",
    ),
    Ability(
        capability=Capability.MAINS_TESTER,
        name="Measure mains leads and powered gear",
        example="an appliance tester, used by somebody competent to",
        gives="figures on record beside your own limits; the program never says safe",
    ),
)

# a word in an instrument's facts: what it promises. "phantom volts" reads volts, and is no load.
_PROMISES = (
    (r"continuity|beep|lamp", Capability.CONTINUITY),
    (r"milli-?ohm|four-?wire", Capability.MILLIOHMS),
    (r"\bohms?\b|resistance", Capability.OHMS),
    (r"insulation", Capability.INSULATION),
    (r"volts?\b|voltage", Capability.VOLTS),
    (r"milli-?amps?|\bma\b", Capability.MILLIAMPS),
    (r"phantom load|loaded phantom", Capability.PHANTOM_LOAD),
    (r"tone|level|1 ?khz", Capability.TONE),
    (r"supply", Capability.SUPPLY),
    (r"polarity", Capability.POLARITY),
    (r"listen|headphone", Capability.LISTEN),
    (r"appliance|earth bond|leakage", Capability.MAINS_TESTER),
)


def promised(measures: str) -> frozenset[Capability]:
    """Return what an instrument's words ("continuity, ohms, volts") promise; who reads ohms also says what is joined."""
    found = {capability for pattern, capability in _PROMISES if re.search(pattern, measures.lower())}
    if found & {Capability.OHMS, Capability.MILLIOHMS}:
        found.add(Capability.CONTINUITY)
    return frozenset(found)
