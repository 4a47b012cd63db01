"""From what was heard on a stage to the checks that find its cause first, and whether a pass lays the complaint to rest.

What points where is a judgement of the trade, from memory, no published source.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from inventory.calc.kinds import Kind
from maintenance.calc.bench import Depth, Procedure
from maintenance.calc.symptoms import Symptom


@dataclass(frozen=True, kw_only=True)
class Suspicion:
    """One check that finds the cause of a symptom: what it is called, why it comes first, and where to measure.

    `pairs` are pins of a three-pin lead, written as readings are (A1-B1); leads with other ends take `roles` (screen, legs,
    shells, flex). `steps` are steps of the procedure without their channel. `flexed`: only while it is bent.
    """

    symptom: Symptom
    title: str
    why: str
    pairs: tuple[str, ...] = ()
    roles: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    flexed: bool = False


@dataclass(frozen=True, kw_only=True)
class _Check:
    title: str
    why: str
    pairs: tuple[str, ...] = ()
    roles: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    flexed: bool = False


_SCREEN = ("A1-B1",)
_LEGS = ("A2-B2", "A3-B3")
_CROSSED = ("A2-B3", "A3-B2")
_LEG_TO_SCREEN = ("A1-A2", "A1-A3")
_SHELLS = ("A1-Ash", "B1-Bsh")
_ALL = (*_SCREEN, *_LEGS)


def _lead(title: str, why: str, pairs: Sequence[str], *roles: str, flexed: bool = False) -> _Check:
    return _Check(title=title, why=why, pairs=tuple(pairs), roles=roles, flexed=flexed)


def _box(title: str, why: str, *steps: str) -> _Check:
    return _Check(title=title, why=why, steps=steps)


_FLEX = _lead(
    "Bend it at both strain reliefs",
    "A core breaks where it bends, and reads well while it lies still.",
    _ALL,
    "flex",
    flexed=True,
)
_LEADS: dict[Symptom, tuple[_Check, ...]] = {
    Symptom.HUMS: (
        _lead("Screen from end to end", "An open screen keeps no hum out.", _SCREEN, "screen"),
        _lead("Shells against pin 1", "A shell on pin 1 closes a loop as soon as it touches metal.", _SHELLS, "shells"),
        _lead("Each leg", "With one leg open the line is no longer balanced, and hum is not cancelled.", _LEGS, "legs"),
        _lead(
            "Legs against screen", "A leg shorted to the screen makes the line unbalanced.", _LEG_TO_SCREEN, "legs to screen"
        ),
    ),
    Symptom.CRACKLES: (
        _FLEX,
        _lead("Screen while bent", "A loose screen crackles, with phantom above all.", _SCREEN, "screen", flexed=True),
    ),
    Symptom.INTERMITTENT: (_FLEX,),
    Symptom.THIN: (
        _lead("Legs against each other's pins", "Swapped legs cancel beside another lead.", _CROSSED, "crossed"),
        _lead("Each leg", "One leg open leaves thin, quiet sound.", _LEGS, "legs"),
    ),
    Symptom.QUIET: (
        _lead("Each leg", "One leg open or high costs level.", _LEGS, "legs"),
        _lead("Legs against screen", "A leg grounded costs half the level.", _LEG_TO_SCREEN, "legs to screen"),
    ),
    Symptom.DEAD: (
        _lead("Each leg", "Both legs open, or one and the screen, leave nothing.", _LEGS, "legs"),
        _lead(
            "Leg to leg", "Legs shorted to each other leave silence, while phantom still reads well.", ("A2-A3",), "leg to leg"
        ),
    ),
    Symptom.NO_PHANTOM: (
        _lead("Screen from end to end", "The screen is phantom's way back: open, nothing flows.", _SCREEN, "screen"),
        _lead("Each leg", "Through one leg only, phantom sags twice as far.", _LEGS, "legs"),
        _lead("Legs against screen", "A leg on the screen pulls phantom down.", _LEG_TO_SCREEN, "legs to screen"),
    ),
    Symptom.FADES: (
        _FLEX,
        _lead("Screen from end to end", "A joint going open starves what phantom feeds.", _SCREEN, "screen"),
    ),
    Symptom.WET: (
        _lead(
            "Legs against screen", "Damp shows as a leak between pins before anything else.", _LEG_TO_SCREEN, "legs to screen"
        ),
        _lead("Shells against pin 1", "Water sits in the shell.", _SHELLS, "shells"),
    ),
}

_PASSIVE: dict[Symptom, tuple[_Check, ...]] = {
    Symptom.HUMS: (
        _box(
            "Lift switch both ways",
            "A lift that does not lift leaves the hum loop closed; one that stays open lets hum in.",
            "lift-on",
            "lift-off",
        ),
        _box("Isolation", "With input and output joined, the transformer breaks no loop.", "isolation"),
    ),
    Symptom.CRACKLES: (_box("Move plugs and switches", "Sockets and switches wear out first.", "crackle"),),
    Symptom.INTERMITTENT: (
        _box("Move plugs and switches", "Sockets and switches wear out first.", "crackle"),
        _box("Windings", "A winding with a cracked joint reads too high.", "winding-out", "winding-in"),
    ),
    Symptom.THIN: (
        _box("Polarity", "Reversed, it cancels beside another box or a microphone.", "polarity"),
        _box("Windings", "Shorted turns or an open joint take the bass first.", "winding-out", "winding-in"),
        _box("Gain", "A leg lost at the output costs level and body.", "gain"),
    ),
    Symptom.QUIET: (
        _box("Gain and pad", "A pad that stays in is the usual reason.", "gain", "pad"),
        _box("Windings", "Shorted turns cost level.", "winding-out", "winding-in"),
    ),
    Symptom.DEAD: (
        _box("Windings", "An open winding passes nothing.", "winding-out", "winding-in"),
        _box("Gain", "It shows at once whether anything passes.", "gain"),
        _box("Through", "If the through is dead too, it is the input socket.", "through"),
    ),
    Symptom.WET: (_box("Isolation", "Water joins what should be apart.", "isolation"),),
}
_SUPPLY = ("gain-cells", "gain-phantom")
_ACTIVE: dict[Symptom, tuple[_Check, ...]] = {
    **{s: _PASSIVE[s] for s in (Symptom.HUMS, Symptom.CRACKLES)},
    Symptom.INTERMITTENT: (
        _box("Move plugs and switches", "Sockets and switches wear out first.", "crackle"),
        _box("Low cells", "A box at the end of its cells comes and goes.", "gain-low-cells", "gain-cells"),
    ),
    Symptom.THIN: (
        _box("Polarity", "Reversed, it cancels beside another box or a microphone.", "polarity"),
        _box("Fall through a resistor", "An input gone low makes pickups thin; a tone generator does not notice.", "loading"),
        _box("Gain on phantom and cells", "A weak supply clips the body away.", *_SUPPLY),
    ),
    Symptom.QUIET: (_box("Gain and pad", "A pad that stays in is the usual reason.", *_SUPPLY, "pad"),),
    Symptom.DEAD: (
        _box("Each supply alone", "Dead on one and alive on the other names the culprit.", *_SUPPLY),
        _box("Draw", "What draws nothing gets no supply.", "draw", "lift-off"),
    ),
    Symptom.NO_PHANTOM: (
        _box("Gain on phantom", "With its cells out, it lives on phantom or not at all.", "gain-phantom"),
        _box("Pin 1", "Phantom returns through pin 1: a lift or a joint that stays open starves it.", "lift-off"),
        _box("Draw", "Half of what it should draw means one leg alone feeds it.", "draw"),
    ),
    Symptom.FADES: (
        _box("Low cells", "Cells fall through a show; here a box that gives up early shows itself.", "gain-low-cells"),
        _box("Low phantom", "Not every input gives the full volts.", "gain-low-phantom"),
        _box("Draw with the plug out", "A socket that never switches off leaves flat cells for the show.", "idle-draw"),
        _box("Draw", "A leaking part pulls its own supply down.", "draw"),
    ),
    Symptom.WET: (_box("Draw", "Water draws current.", "draw", "idle-draw"),),
}
_MICROPHONE: dict[Symptom, tuple[_Check, ...]] = {
    Symptom.HUMS: (_box("Listen beside a good one", "Tells the microphone from its lead.", "sound", "crackle"),),
    Symptom.CRACKLES: (_box("Move plug and switch", "The insert and the switch wear out first.", "crackle", "switch"),),
    Symptom.INTERMITTENT: (
        _box("Move plug and switch", "The insert and the switch wear out first.", "crackle", "switch", "rattle"),
    ),
    Symptom.THIN: (
        _box("Add it to a good one", "Reversed polarity cancels in the sum.", "polarity"),
        _box("Level", "One leg open costs level and body.", "level", "coil"),
    ),
    Symptom.QUIET: (_box("Level", "A clogged grille, an open leg or a low supply shows here.", "level", "draw", "coil"),),
    Symptom.DEAD: (
        _box("Level, then current or coil", "Tells an open coil from a missing supply.", "level", "draw", "coil", "switch"),
    ),
    Symptom.NO_PHANTOM: (_box("Draw", "What draws nothing gets no phantom: pin 1 or a leg is open.", "draw", "level"),),
    Symptom.FADES: (_box("Draw", "Too much draw pulls its own supply down.", "draw", "level"),),
    Symptom.WET: (_box("Draw and noise", "A damp capsule hisses and draws more.", "sound", "draw", "level"),),
}
_WIRELESS: dict[Symptom, tuple[_Check, ...]] = {
    Symptom.HUMS: (_box("Link at arm's length", "Tells the pair from the desk it feeds.", "link"),),
    Symptom.CRACKLES: (_box("Move head, plug and lead", "They wear out first.", "crackle", "contacts"),),
    Symptom.INTERMITTENT: (
        _box("Walk", "Drop-outs far off are reach; near by they are contacts.", "walk", "aerial"),
        _box("Contacts", "A weak spring lets go when it is moved.", "contacts"),
    ),
    Symptom.THIN: (_box("Listen", "A clogged or wet head sounds thin.", "link"),),
    Symptom.QUIET: (_box("Listen", "Head, gain and pad before the radio.", "link", "draw"),),
    Symptom.DEAD: (
        _box("Contacts, link, mute", "Supply first, then channel, then switch.", "contacts", "link", "mute", "draw"),
    ),
    Symptom.FADES: (
        _box("Contacts", "A resistance in the bay looks like a tired cell.", "contacts"),
        _box("Draw", "Too much draw empties cells early.", "draw"),
        _box("Walk", "Reach that shrinks sounds like fading.", "walk", "aerial"),
    ),
    Symptom.WET: (_box("Contacts", "Water reaches the cell bay first.", "contacts", "link"),),
}
_PHANTOM: dict[Symptom, tuple[_Check, ...]] = {
    Symptom.NO_PHANTOM: (
        _box("Loaded volts", "Open volts can look full while nothing can be drawn.", "load", "load-3k3", "open-2", "open-3"),
    ),
    Symptom.FADES: (_box("Loaded volts", "A weak rail sags when it is loaded.", "load", "load-3k3"),),
    Symptom.HUMS: (_box("Leg against leg", "Unlike feed resistors let hum through.", "short-2", "short-3"),),
}
_INPUT: dict[Symptom, tuple[_Check, ...]] = {
    Symptom.HUMS: (_box("Noise beside its neighbours", "A bad pin 1 hums with nothing plugged in.", "noise", "level"),),
    Symptom.CRACKLES: (_box("Move the plug", "The socket wears out first.", "crackle", "switches"),),
    Symptom.INTERMITTENT: (_box("Move the plug", "The socket wears out first.", "crackle", "switches"),),
    Symptom.THIN: (_box("Level", "One leg open in the socket costs level.", "level"),),
    Symptom.QUIET: (_box("Level, then pad", "A pad that stays in or a lost leg.", "level", "switches"),),
    Symptom.DEAD: (_box("Level", "It shows at once whether anything passes.", "level"),),
}
_DRIVER: dict[Symptom, tuple[_Check, ...]] = {
    Symptom.HUMS: (_box("Listen", "Tells the loudspeaker from what feeds it.", "sound"),),
    Symptom.CRACKLES: (_box("Move and knock", "Push-on joints and lead-out wires work loose.", "crackle", "buzz"),),
    Symptom.INTERMITTENT: (_box("Move and knock", "Push-on joints and lead-out wires work loose.", "crackle", "coil"),),
    Symptom.THIN: (
        _box("Polarity", "Reversed, bass cancels against its neighbour.", "cell", "polarity"),
        _box("Each driver", "A dead low driver leaves no body.", "sound", "coil"),
    ),
    Symptom.QUIET: (_box("Each driver", "One driver gone sounds quiet from afar.", "sound", "coil"),),
    Symptom.DEAD: (_box("Resistance", "An open coil reads over range.", "coil", "sound"),),
    Symptom.WET: (_box("Slow tone", "A wet cone rubs.", "buzz"),),
}
_HEADPHONES: dict[Symptom, tuple[_Check, ...]] = {
    Symptom.CRACKLES: (_box("Bend the lead", "It breaks at plug and cup.", "crackle"),),
    Symptom.INTERMITTENT: (_box("Bend the lead", "It breaks at plug and cup.", "crackle"),),
    Symptom.THIN: (_box("Voice in the middle", "Sides out of step sound thin.", "middle"),),
    Symptom.QUIET: (_box("Each side", "One side gone halves it.", "both", "left", "right"),),
    Symptom.DEAD: (_box("Each side", "An open side reads over range.", "left", "right", "both"),),
}
_MAINS: dict[Symptom, tuple[_Check, ...]] = {
    s: (_box("Look first, then earth", "Most faults of mains gear can be seen.", "visual", "earth", "insulation", "leakage"),)
    for s in (Symptom.HUMS, Symptom.CRACKLES, Symptom.INTERMITTENT, Symptom.DEAD, Symptom.WET, Symptom.DAMAGED)
}

_CHECKS: dict[Procedure, dict[Symptom, tuple[_Check, ...]]] = {
    Procedure.WIRING: _LEADS,
    Procedure.PASSIVE_BOX: _PASSIVE,
    Procedure.ACTIVE_BOX: _ACTIVE,
    Procedure.MICROPHONE: _MICROPHONE,
    Procedure.TRANSMITTER: _WIRELESS,
    Procedure.PHANTOM: _PHANTOM,
    Procedure.INPUT: _INPUT,
    Procedure.DRIVER: _DRIVER,
    Procedure.HEADPHONES: _HEADPHONES,
    Procedure.MAINS: _MAINS,
}
# the tests of each kind, whatever its facts; a box may be either
_OF_KIND: dict[Kind, tuple[Procedure, ...]] = {
    Kind.LEAD: (Procedure.WIRING,),
    Kind.MULTICORE: (Procedure.WIRING,),
    Kind.INTERFACE_BOX: (Procedure.ACTIVE_BOX, Procedure.PASSIVE_BOX),
    Kind.MICROPHONE: (Procedure.MICROPHONE,),
    Kind.TRANSMITTER: (Procedure.TRANSMITTER,),
    Kind.RECEIVER: (Procedure.TRANSMITTER,),
    Kind.DESK: (Procedure.PHANTOM, Procedure.INPUT),
    Kind.STAGE_BOX: (Procedure.PHANTOM, Procedure.INPUT),
    Kind.LOUDSPEAKER: (Procedure.DRIVER, Procedure.HEADPHONES),
    Kind.AMPLIFIER: (Procedure.INPUT, Procedure.MAINS),
    Kind.POWER: (Procedure.MAINS,),
}


def likely(*, kind: str, symptoms: Iterable[str], procedures: Sequence[Procedure] | None = None) -> tuple[Suspicion, ...]:
    """Return the checks that find the cause first, in order, each once; nothing for what no check knows.

    `procedures` are the tests that fit the thing, where more is known than its kind. The first symptom's checks come first.
    """
    tests = _OF_KIND.get(Kind(kind), ()) if procedures is None else procedures
    return tuple(_each(tests, symptoms))


def likely_steps(*, procedure: Procedure, symptoms: Iterable[str]) -> tuple[str, ...]:
    """Return the steps of a test that symptoms point at, the likeliest first, without their channels."""
    return tuple(dict.fromkeys(step for s in _each((procedure,), symptoms) for step in s.steps))


def likely_pairs(*, symptoms: Iterable[str]) -> tuple[str, ...]:
    """Return the pairs of a three-pin lead that symptoms point at, the likeliest first."""
    return tuple(dict.fromkeys(pair for s in _each((Procedure.WIRING,), symptoms) for pair in s.pairs))


def _each(tests: Sequence[Procedure], symptoms: Iterable[str]) -> Iterable[Suspicion]:
    seen: set[tuple[str, str]] = set()
    for word in symptoms:
        symptom = Symptom(word)
        for test in tests:
            for check in _CHECKS.get(test, {}).get(symptom, ()):
                if (check.title, check.why) in seen:
                    continue
                seen.add((check.title, check.why))
                yield Suspicion(
                    symptom=symptom,
                    title=check.title,
                    why=check.why,
                    pairs=check.pairs,
                    roles=check.roles,
                    steps=check.steps,
                    flexed=check.flexed,
                )


_FLEXED = frozenset({Depth.LAMPS_FLEXED, Depth.OHMS_FLEXED})
_OHMS = frozenset({Depth.OHMS, Depth.OHMS_FLEXED})
_MOVED = frozenset({Symptom.CRACKLES, Symptom.INTERMITTENT})
_STEPS_MOVED = frozenset({"crackle", "walk"})
_PINS = frozenset({Procedure.WIRING, Procedure.WORD})
_LEADS_KINDS = frozenset({Kind.LEAD, Kind.MULTICORE})
# tests that see a part of a thing: what of its complaints they look into. The others look at the whole of it.
_SEES = {
    Procedure.PHANTOM: frozenset({Symptom.NO_PHANTOM, Symptom.FADES}),
    Procedure.INPUT: frozenset(Symptom) - {Symptom.NO_PHANTOM},
    Procedure.MAINS: frozenset({Symptom.DEAD, Symptom.WET}),
}


def answers(
    *,
    symptom: str,
    depth: Depth,
    procedure: Procedure,
    kind: str | None = None,
    steps: Collection[str] | None = None,
) -> str:
    """Return nothing when a pass of that depth lays a symptom to rest, else the sentence why it stays open.

    With `steps`, the keys of those that were answered, a box's pass counts only where one of them looks into the symptom,
    and a step that was done while moving stands for a flexed test. With `kind`, a tester's word is held to what it can see.
    """
    symptom, depth, procedure = Symptom(symptom), Depth(depth), Procedure(procedure)
    if procedure == Procedure.UNDO:
        return "Taking a test back answers nothing."
    if symptom == Symptom.DAMAGED:
        return "A test does not show that damage is mended: say what was done."
    if symptom == Symptom.PARTS_MISSING:
        return "A test does not bring missing parts back: say what was fitted."
    done = None if steps is None or procedure in _PINS else {base_of(key) for key in steps}
    moved = depth in _FLEXED or bool(done and done & _STEPS_MOVED)
    if symptom in _MOVED and not moved:
        return (
            f"“{symptom.value}” wants a test while it is moved: flex it at both strain reliefs and work its plugs and switches."
        )
    if procedure in _PINS:
        return _answers_pins(symptom, depth, procedure, None if kind is None else Kind(kind))
    if symptom not in _SEES.get(procedure, frozenset(Symptom)):
        return f"This test does not look for what “{symptom.value}” comes from."
    wanted = set(likely_steps(procedure=procedure, symptoms=[symptom]))
    if done is not None and wanted and not wanted & done and symptom not in _MOVED:
        return f"Nothing that was measured looks into “{symptom.value}”."
    return ""


def base_of(key: str) -> str:
    """Return a step's key without its channel."""
    base, dot, channel = key.rpartition(".")
    return base if dot and channel.isdigit() else key


def _answers_pins(symptom: Symptom, depth: Depth, procedure: Procedure, kind: Kind | None) -> str:
    if procedure == Procedure.WORD and kind not in {None, *_LEADS_KINDS} and symptom in {Symptom.NO_PHANTOM, Symptom.FADES}:
        return f"“{symptom.value}” wants the test of such gear: a word alone does not say what feeds it."
    if symptom == Symptom.WET and depth not in _OHMS:
        return "Damp does not show on lamps or beeps: read the ohms between pins."
    if symptom in {Symptom.QUIET, Symptom.FADES} and depth not in _OHMS:
        return f"“{symptom.value}” can come from a joint of a few ohms, which lamps and beeps pass: read the ohms."
    if symptom == Symptom.OTHER and depth == Depth.LAMPS:
        return "Nobody knows yet what was wrong: lamps or beeps without flexing see too little to lay it to rest."
    return ""
