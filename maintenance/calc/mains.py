"""Mains leads and powered gear: what is measured is kept, and compared with the limits the company has set for its country.

Nothing here knows a country's limits, and no word here says that a thing may be used: a licensed or competent person decides.
"""

import math
from collections.abc import Mapping
from dataclasses import replace

from maintenance.calc.bench import Capability
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.steps import Answers, Found, Says, Step, figure_of, finding_of, said

SAFETY = "The program records results; it never declares anything safe. Local codes and a licensed or competent person decide."
PASSED = "Within the limits your company set."
NEVER_LIFT = "Never lift or cut protective earth to cure hum: use isolation or an audio-shield lift."
DEAD = "Unplugged at both ends. By a competent person only."
INSULATION = "Passive cables only, both ends free; never into electronics."
USES = ("earth_ohm", "mains_insulation_mohm", "leakage_ma", "residual_trip_ms")

_TAKE_OUT = "Take it out of reach now; let a competent person mend it or scrap it."


def lay_out(facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]) -> tuple[Step, ...]:
    """Lay out the steps: eyes first, then earth, then what fits the thing."""
    residual = figure_of(facts, "residual_current_ma")
    # a lead or distribution has a rating, powered gear a mains current; a residual-current device holds electronics too
    electronics = "rating_a" not in facts or residual is not None
    # a residual-current device is tested for the shop by somebody with the tester for it: the figures on that sheet are taken
    steps = _steps(facts, limits, residual, electronics)
    return tuple(replace(step, needs=None) for step in steps) if residual else steps


def _steps(facts: Mapping[str, object], limits: BenchLimits, residual: float | None, electronics: bool) -> tuple[Step, ...]:
    return (
        Step(
            key="visual",
            title="Looks whole",
            how="Unplug it and look: plug, pins, sheath, glands, burns, tape over joints, right fuse. Is all of it whole?",
            wanted=True,
            caution=DEAD,
            expect="Yes. Most faults can be seen.",
            proves=("that somebody looked at it",),
            says=Says(
                name="damage seen",
                title="Damage can be seen",
                effect="A shock or a fire.",
                repair=_TAKE_OUT,
            ),
        ),
        _measured(
            "earth",
            "Earth continuity",
            "From the plug's earth pin to the socket's earth or to bare metal. Built without an earth wire: leave it out.",
            OHM,
            limits.earth_ohm,
            caution=NEVER_LIFT,
            says=Says(
                name="earth too high",
                title="Protective earth reads too high",
                effect="In a fault its metal stays live.",
                repair=_TAKE_OUT,
            ),
            most=1e6,
            over=True,
        ),
        *(
            []
            if electronics
            else [
                _measured(
                    "insulation",
                    "Insulation",
                    "Line and neutral together against earth, at your tester's voltage for leads.",
                    "MΩ",
                    limits.mains_insulation_mohm,
                    least=True,
                    caution=INSULATION,
                    says=Says(
                        name="insulation low",
                        title="Insulation reads too low",
                        effect="Damp or damaged: it trips the supply, or puts a voltage where hands are.",
                        repair=_TAKE_OUT,
                    ),
                    most=1e6,
                    over=True,
                )
            ]
        ),
        *(
            [
                _measured(
                    "leakage",
                    "Leakage or touch current",
                    "Powered by the appliance tester, switched on.",
                    "mA",
                    limits.leakage_ma,
                    caution="Keep hands off its metal while it is tested. By a competent person only.",
                    says=Says(
                        name="leakage high",
                        title="Leakage reads too high",
                        effect="Tingles to touch, trips the supply, hums.",
                        repair=_TAKE_OUT,
                    ),
                    most=1000,
                )
            ]
            if electronics
            else []
        ),
        *(
            [
                _measured(
                    "trip",
                    "Residual-current trip time",
                    f"At {said(residual, 'mA')} with the tester; then press its own button, as before every show.",
                    "ms",
                    limits.residual_trip_ms,
                    caution="Warn everybody fed by it first.",
                    says=Says(
                        name="trips late",
                        title="It trips too late",
                        effect="It may not save a life when it must.",
                        repair=_TAKE_OUT,
                    ),
                    most=100_000,
                    over=True,
                ),
                Step(
                    key="button",
                    title="Its own button trips it",
                    how="Powered: press its test button, then reset it. Does it trip at once, and hold again?",
                    wanted=True,
                    caution="Warn everybody fed by it first.",
                    expect="Yes.",
                    says=Says(
                        name="button does not trip",
                        title="Its own button does not trip it",
                        effect="It may not save a life when it must.",
                        repair=_TAKE_OUT,
                    ),
                ),
                Step(
                    key="polarity",
                    title="Line and neutral as marked",
                    how="With the tester, from its plug to each of its sockets: line to line, neutral to neutral?",
                    wanted=True,
                    caution=DEAD,
                    expect="Yes.",
                    says=Says(
                        name="line and neutral swapped",
                        title="Line and neutral are swapped",
                        effect="What is switched off or fused may stay live.",
                        repair=_TAKE_OUT,
                    ),
                ),
            ]
            if residual
            else []
        ),
    )


OHM = "Ω"


def _measured(
    key: str,
    title: str,
    how: str,
    unit: str,
    limit: float | None,
    *,
    says: Says,
    caution: str,
    most: float,
    least: bool = False,
    over: bool = False,
) -> Step:
    if limit is None:
        expect = "Your company has set no limit: the figure is kept and not compared."
    else:
        expect = f"Your company's limit: {'at least' if least else 'at most'} {said(limit, unit)}."
    return Step(
        key=key,
        title=title,
        how=how,
        unit=unit,
        needs=Capability.MAINS_TESTER,
        low=limit if least else None,
        high=None if least else limit,
        caution=caution,
        expect=expect,
        over=over,
        least=0,
        most=most,
        below=says if least else None,
        above=None if least else says,
    )


_OPEN = {
    "earth": Says(
        name="earth open",
        title="Protective earth is open",
        effect="In a fault its metal stays live.",
        repair=_TAKE_OUT,
    ),
    "trip": Says(
        name="does not trip",
        title="It does not trip",
        effect="It will not save a life when it must.",
        repair=_TAKE_OUT,
    ),
}


def look(
    steps: tuple[Step, ...], answers: Answers, facts: Mapping[str, object], limits: BenchLimits, golden: Mapping[str, float]
) -> Found:
    """Say what was only kept, that nothing was compared where no limit is set, and what is open whatever the limit."""
    measured = [s for s in steps if s.unit and s.key in answers.given]
    kept = [s for s in measured if s.low is None and s.high is None]
    reasons = [SAFETY]
    if kept:
        names = ", ".join(s.title.lower() for s in kept)
        reasons.insert(0, f"Kept and not compared, for your company has set no limit: {names}.")
    cannot = []
    if not measured:
        cannot.append(
            "Nothing was measured: eyes alone leave earth and insulation unknown. Enter the figures of whoever has a tester, "
            "or let a competent person close what is open on its page."
        )
    elif len(kept) == len(measured):
        cannot.append("No limit is set for what was measured: enter your company's limits on the limits page of the bench.")
    opens = [says for key, says in _OPEN.items() if answers.value(key) == math.inf]
    findings = tuple(finding_of(says, None, "The tester shows that it is above its range.") for says in opens)
    open_keys = frozenset(key for key in _OPEN if answers.value(key) == math.inf)
    return Found(findings=findings, instead_of=open_keys, reasons=tuple(reasons), cannot=tuple(cannot) if answers.given else ())
