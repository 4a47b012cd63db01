"""Readings that are too good: less than the copper of so long a lead can read."""

from maintenance.calc.wiring_case import Case, pair_said
from maintenance.calc.wiring_words import listed, ohms_words

COPPER_SHARE = 0.5  # no lead of its label's length and gauge reads less than half its copper. Our proposal.
METER_DOUBT_OHM = 0.15  # what a meter's last digit and its null may be off, two-wire: our proposal
FEW = 4


def too_good_words(case: Case) -> list[str]:
    """Return a sentence where cores read far less than their copper; what is shorted to others is left out.

    A screen counts only where its own figure is known, and ways with branches not at all.
    """
    tied = {n for _, group in case.shape.shorts for n in group} if case.shape is not None else set()
    found = [
        (r.limit.copper_ohm, r)
        for n, measured in case.resistances.items()
        if len(measured) == 1 and n not in tied and (not case.wiring.nets[n].is_screen or case.lead.screen_mohm_per_m)
        for r in measured
        if r.limit is not None and r.ohm + METER_DOUBT_OHM < COPPER_SHARE * r.limit.copper_ohm
    ]
    found = [(copper, r) for copper, r in found if not case.is_doubtful(r.one, r.other)]
    if not found:
        return []
    told = listed([f"{pair_said(case, r.one, r.other)} reads {ohms_words(r.ohm)}" for _, r in found[:FEW]])
    more = f" and {len(found) - FEW} more likewise" if len(found) > FEW else ""
    return [
        f"{told}{more}; {case.lead.length_m:g} m of its copper is about {ohms_words(found[0][0])}. That is too good: is it "
        "shorter than its label says, did the tips touch, or was another lead measured? Read it again, or correct its length."
    ]
