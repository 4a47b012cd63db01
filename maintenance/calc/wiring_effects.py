"""What a fault of a lead does on a show, and what most likely mends it. Trade knowledge, from memory, in our own words."""

from enum import StrEnum

from maintenance.calc.wiring_nets import Net, Role, Wiring


class Name(StrEnum):
    """The faults a lead can have, as findings name them."""

    OPEN = "open"
    NOTHING_THROUGH = "nothing-through"
    SHORT = "short"
    LEGS_SWAPPED = "legs-swapped"
    MISWIRED = "miswired"
    CHANNELS_SWAPPED = "channels-swapped"
    SHIELD_OPEN = "shield-open"
    SHELL = "shell"
    HIGH = "high-resistance"
    UNEVEN = "uneven-legs"
    LEAK = "leak"
    INTERMITTENT = "intermittent"
    RESISTOR = "resistor"
    LOSS = "loudspeaker-loss"


class Family(StrEnum):
    BALANCED = "balanced"
    SINGLE = "single"
    LOUDSPEAKER = "loudspeaker"
    DATA = "data"


_LEGS = {Role.HOT, Role.COLD}
_DATA = {Role.DATA_PLUS, Role.DATA_MINUS, Role.COMMON}
_POLES = {Role.PLUS, Role.MINUS}


def family_of(wiring: Wiring) -> Family:
    """Return what a wiring is for, told by the parts its nets play."""
    roles = {net.role for net in wiring.nets[: wiring.joined_nets]}
    roles |= {Role.DATA_PLUS} if wiring.resistors else set()
    if roles & _POLES:
        return Family.LOUDSPEAKER
    if roles & _DATA:
        return Family.DATA
    return Family.BALANCED if roles >= _LEGS else Family.SINGLE


def holds_parts(wiring: Wiring) -> bool:
    """Say whether more than copper sits between the pins of a wiring: a resistor, a lift's gap, windings, a capsule.

    Many volts would break what an insulation tester means to find whole.
    """
    ends = wiring.end_index
    beside = any(ends[wiring.index[m.a]] == ends[wiring.index[m.b]] or m.over_ohm is not None for m in wiring.maybes)
    return bool(wiring.resistors) or beside or any("microphone end" in end.plug for end in wiring.ends)


def open_effect(net: Net, family: Family) -> str:
    if net.is_screen and family is Family.BALANCED:
        return "No phantom power, and hum and radio come in; a dynamic microphone may still sound right."
    if net.is_screen and family is Family.DATA:
        return "Runs until something drifts, then flickers and drops out; nothing to go by from the desk."
    if net.is_screen:
        return "Hardly any sound and loud hum: the screen is the way back of the signal."
    if net.role in _LEGS and family is Family.BALANCED:
        return (
            "About 6 dB quieter from most outputs, thin and far away from floating ones, and it hums. "
            "Phantom comes over one leg alone and sags twice as far."
        )
    if family is Family.LOUDSPEAKER:
        return "That pair of the loudspeaker stays silent."
    if family is Family.DATA:
        return "No data gets through, or it drops out now and then."
    return "Silent, or a buzz when it is touched."


def short_effect(nets: list[Net], family: Family) -> str:
    roles = {net.role for net in nets}
    screens = [net for net in nets if net.is_screen]
    if family is Family.LOUDSPEAKER:
        return "Shorts the amplifier or feeds one pair with the other: protection at best, dead output or drivers at worst."
    if family is Family.DATA:
        return "Everything after this lead loses its data."
    if len({net.channel for net in nets}) > 1:
        return "Two channels run into each other, or hum together."
    if family is Family.BALANCED and roles >= _LEGS and not screens:
        return "No sound, though phantom power still reads right on both legs."
    if family is Family.BALANCED and screens and len(nets) == 2:
        return (
            "Works as an unbalanced line: quieter, hums. Phantom on that leg goes to ground "
            "(7 mA at 48 V) and a microphone that lives on it starves."
        )
    if screens:
        return "Silent: the signal is shorted to its screen."
    return "Two signals run into each other."


def swap_effect(nets: list[Net], family: Family) -> str:
    roles = {net.role for net in nets}
    if family is Family.LOUDSPEAKER:
        return "The loudspeaker pushes when the others pull: the low end disappears between them."
    if family is Family.DATA:
        return "No data, or data that comes and goes."
    if roles == _LEGS:
        return "Sounds right alone; beside another microphone or line on the same source it cancels the low end."
    return "Hum, no phantom, or nothing at all, as the input happens to be made."


SHELL_EFFECT = "Hums as soon as the plug's shell touches a rack or another plug: a ground loop closes there."
LEAK_EFFECT = "Noise and crackle with phantom on, worse when warm and humid; it grows into a short."
INTERMITTENT_EFFECT = "Crackles and drops out when somebody moves it, and never at the bench when it lies still."
UNEVEN_EFFECT = "Works today, hums a little more than it should; broken strands part for good soon."


def high_effect(net: Net, family: Family) -> str:
    if family is Family.LOUDSPEAKER:
        return "Heat in the joint, less level, and a slack low end."
    if net.is_screen:
        return "Hums, and crackles with phantom on: the screen carries its way back."
    if family is Family.DATA:
        return "Works on short lines and fails on long ones."
    return "Works today, then crackles: a bad joint or broken strands, and it will get worse."


def joint_repair(pins: str) -> str:
    return (
        f"Open the plugs at {pins} and resolder; if the joint is sound, cut back behind the strain relief and terminate again."
    )


SHORT_REPAIR = (
    "Open both plugs and look for a whisker of screen or a blob of solder; if none, cut back behind the strain relief."
)
SWAP_REPAIR = "Open the plug that differs from the wiring and move the cores to their pins."
SHELL_REPAIR = "Open the plug and take the link, or the stray strand, off the shell."
LEAK_REPAIR = "Dry both plugs open for a day, clean out flux, test again; if it stays, cut back or retire it."
FLEX_REPAIR = "Bend one end at a time to find which; cut back 5 cm behind that strain relief and terminate again."
RESISTOR_REPAIR = "Measure the resistor itself, resolder it, or replace it."
