"""Ten thousand good leads as a bench sees them: none is accused of anything."""

import numpy as np

from inventory.calc.conductors import core_of
from maintenance.calc.bench import Depth, PairReading, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring import Lead, judge
from maintenance.calc.wirings import Expect
from tests.calc.wiring_lab import SHIPPED, wiring_of

LEADS = 10_000
LIMITS = BenchLimits()
SMALL = [key for key in sorted(SHIPPED) if "dsub" not in key and "box" not in key]


def good_lead(dice, key):
    """Return a lead in good order and readings of it: cores as drawn wire varies, contacts, a meter's unrest, warmth, nulls."""
    wiring, loud = wiring_of(key), "loudspeaker" in key
    length = float(dice.choice([0.5, 1, 3, 6, 10, 15, 20, 30, 50]))
    gauge = {"core_mm2": float(dice.choice([1.5, 2.5, 4.0]))} if loud else {}
    if not loud:
        gauge = (
            {"core_awg": int(dice.choice([22, 24, 26]))}
            if dice.random() < 0.5
            else {"core_mm2": float(dice.choice([0.14, 0.22]))}
        )
    warmth, null = float(dice.uniform(-5, 40)), float(dice.choice([0.0, 0.12, 0.25]))
    core = core_of(mm2=gauge.get("core_mm2"), awg=gauge.get("core_awg"))
    lead = Lead(wiring=wiring, length_m=length, loudspeaker=loud, **gauge)
    nominal = core.ohm(length, warmth)
    # A maximum is what bad wire may reach; nominal wire is drawn within a few percent.
    spread = (0.86, 0.99) if core.is_maximum else (0.95, 1.06)
    batch = dice.uniform(*spread)  # cores of one lead come off one drum
    strand = {net.name: nominal * batch * dice.uniform(0.99, 1.01) for net in wiring.nets}
    unrest = 0.002 if loud else 0.005
    deep, ends_only = dice.random() < 0.5, dice.random() < 0.4 and len(wiring.ends) > 1
    made = []
    for a, b, expected in wiring.matrix():
        if ends_only and a[0] == b[0]:
            continue
        if expected.kind is Expect.JOINED:
            ways = 1 if (a[0] == "A") != (b[0] == "A") else 0 if a[0] == b[0] else 2
            contacts = dice.uniform(0.001, 0.01 if loud else 0.02, 2).sum()
            still = strand[wiring.net_of(a).name] * ways + contacts
            for bent in (False, True) if deep else (False,):
                shown = still * (1 + dice.normal(0, 0.002)) + dice.normal(0, unrest) + (dice.uniform(0, 0.02) if bent else 0)
                made.append(PairReading(a=a, b=b, ohms=max(0.0, shown) + null, flexed=bent))
        elif expected.kind is Expect.RESISTOR:
            made.append(PairReading(a=a, b=b, ohms=expected.ohm * dice.uniform(0.97, 1.03) + null))
        elif dice.random() < 0.1:
            made.append(PairReading(a=a, b=b, ohms=float(10 ** dice.uniform(6.3, 9)) + null))
        else:
            made.append(PairReading(a=a, b=b, above_ohms=2e7))
    depth = Depth.OHMS_FLEXED if deep else Depth.OHMS
    return {"lead": lead, "readings": made, "null_ohms": null, "temperature_c": warmth, "depth": depth, "limits": LIMITS}


def test_ten_thousand_good_leads_raise_nothing():
    dice, accused = np.random.default_rng(60228), []
    for n in range(LEADS):
        given = good_lead(dice, SMALL[n % len(SMALL)])
        judgement = judge(**given)
        if judgement.findings or judgement.verdict is not Verdict.PASS:
            accused.append((SMALL[n % len(SMALL)], judgement.verdict, judgement.findings, judgement.reasons))
    assert not accused, (len(accused), accused[:3])
