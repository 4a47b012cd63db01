"""Transmitters and receivers: contacts, link, mute, a walk through the room, aerials."""

from collections.abc import Mapping

from maintenance.calc.bench import Capability, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.steps import Answers, Found, Says, Step, between, figure_of, golden_of, said

EARS = "Start low: protect your ears, in-ear receivers above all."
CELLS = "Take cells out of stored gear. A leaking or swollen one: gloves, and set it apart."


def lay_out(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> tuple[Step, ...]:
    """Lay out the steps of one half of a wireless pair, tested with a good other half."""
    return (
        Step(
            key="contacts",
            title="Cell contacts clean and springy",
            how="Open the cell bay, or look at the supply socket: clean, not bent, no salt, the door shuts?",
            wanted=True,
            caution=CELLS,
            expect="Yes.",
            says=Says(
                name="contacts bad",
                title="Cell contacts or supply socket are bad",
                effect="It dies when it is moved, with cells that are still good.",
                repair="Clean with alcohol, bend the springs back; replace the door.",
            ),
        ),
        Step(
            key="link",
            title="Links and sounds clean",
            how="With a good other half, on a clear channel, at arm's length: does it link and sound clean?",
            needs=Capability.LISTEN,
            wanted=True,
            caution=EARS,
            expect="Yes.",
            proves=("that it links",),
            says=Says(
                name="no link",
                title="It does not link or sounds wrong",
                effect="Dead, hissing or distorted on its line.",
                repair="Channel, band and pairing first; then fresh cells, microphone head or plug, aerial.",
            ),
        ),
        Step(
            key="mute",
            title="Mute works cleanly",
            how="Work mute and power ten times: off is silent, on comes back, without a thump?",
            needs=Capability.LISTEN,
            wanted=True,
            caution=EARS,
            expect="Yes.",
            says=Says(
                name="mute bad",
                title="Mute is not clean",
                effect="Thumps, or a voice that stays off when it is wanted.",
                repair="Clean or replace the switch.",
            ),
        ),
        Step(
            key="walk",
            title="Drops out on a walk",
            how="Walk thirty paces and back with your body between the two, talking or listening: does it drop out?",
            needs=Capability.LISTEN,
            wanted=False,
            caution=EARS,
            expect="No.",
            proves=("that it carries through a room",),
            says=Says(
                name="drops out",
                title="It drops out on a walk",
                effect="Holes in the song as soon as somebody turns round.",
                repair="Aerial and its joint, then another channel; then compare with a second pair on the same walk.",
            ),
        ),
        Step(
            key="aerial",
            title="Aerials whole and tight",
            how="Look at each aerial: whole, tight, not kinked, its socket firm?",
            wanted=True,
            expect="Yes.",
            says=Says(
                name="aerial bad",
                title="An aerial is damaged or loose",
                effect="Reach is a fraction of what it was.",
                repair="Replace the aerial; solder its socket anew.",
            ),
        ),
        Step(
            key="crackle",
            title="Crackles when moved",
            how="Listen while you bend the plug, head or earphone lead: does it crackle or drop out?",
            needs=Capability.LISTEN,
            wanted=False,
            caution=EARS,
            expect="No.",
            says=Says(
                name="crackles",
                title="It crackles when moved",
                effect="Bangs and drop-outs whenever the wearer moves.",
                repair="Another head or headset first; then the socket.",
            ),
        ),
        *([_draw(facts, limits, golden)] if figure_of(facts, "draw_ma") else []),
    )


def _draw(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> Step:
    title = "Draw on cells"
    label = figure_of(facts, "draw_ma") or 0.0
    first = golden_of(golden, "draw", title, None)
    around = first if first is not None else label
    share = max(limits.golden_share, 0.2) if first is not None else 0.5
    low, high = around * (1 - share), around * (1 + share)
    whose = "Its own first reading was" if first is not None else "Its data say"
    return Step(
        key="draw",
        title=title,
        how="Milliamps in line with its cells, switched on and linked.",
        unit="mA",
        needs=Capability.MILLIAMPS,
        low=low,
        high=high,
        watch=first is None,
        first=first,
        floor=around * 0.05,
        caution=CELLS,
        expect=f"{whose} {said(around, 'mA')}: {between(low, high, 'mA')}.",
        least=0,
        most=5000,
        slip="Were microamps meant?",
        below=Says(
            name="draw low",
            title="Draws too little",
            effect="Part of it is off: weak or no signal.",
            repair="Contacts first, then its power switch.",
        ),
        above=Says(
            name="draw high",
            title="Draws too much",
            effect="Its cells last a fraction of what the forecast says.",
            repair="Look for damp or a swollen part; measure again with fresh cells.",
            weight=Verdict.WATCH,
        ),
    )


def look(
    steps: tuple[Step, ...], answers: Answers, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]
) -> Found:
    """Add nothing: each step says what it finds."""
    return Found()
