"""From what was reckoned to the date an item bears: halved where its last test said watch, at once where something calls for
a test; and when a date that was worked out again is news."""

from dataclasses import dataclass
from datetime import date, timedelta
from math import floor

from company.templatetags.tape import day as day_words
from inventory.calc.kinds import Kind
from maintenance.calc.retest_defaults import Rule
from maintenance.calc.retest_due import By, Reckoned
from maintenance.circumstances import Circumstances, RiskRow
from maintenance.evidence import Evidence
from maintenance.models import TestCall

NOUNS = {
    Kind.INTERFACE_BOX: "box",
    Kind.LEAD: "lead",
    Kind.MICROPHONE: "microphone",
    Kind.TRANSMITTER: "transmitter",
    Kind.RECEIVER: "receiver",
    Kind.MULTICORE: "multicore",
    Kind.STAGE_BOX: "stage box",
    Kind.DESK: "desk",
    Kind.LOUDSPEAKER: "loudspeaker",
    Kind.AMPLIFIER: "amplifier",
    Kind.POWER: "mains lead",
    Kind.CELL_SET: "set",
    Kind.STAND: "stand",
    Kind.CASE: "case",
    Kind.CONSUMABLE: "item",
    Kind.INSTRUMENT: "instrument",
}
CALLED = {TestCall.Why.WET: "it got wet", TestCall.Why.DROPPED: "it was dropped", TestCall.Why.ASKED: "somebody asked for it"}
LONGEST_WHY = 400
# What must move before a row is written again: under it, one more test of another item of the type would write every row
# of the type each night, and a date reckoned from the pace of shows would creep a day a day.
_CHANCE, _SHARE = 0.02, 0.02  # of itself; of the whole
_DAYS = 7


@dataclass(frozen=True, kw_only=True)
class Dated:
    """The date an item bears and why; `shows_left` are the whole shows until then."""

    test_by: date | None
    shows_left: float
    why: str
    prior_share: float


def call_binds(rule: Rule, why: str) -> bool:
    """Say whether a call for a test makes it due by the rule of the type: asking for it always does."""
    if why == TestCall.Why.WET:
        return rule.after_wet
    return why == TestCall.Why.ASKED or rule.after_symptom


def dated(
    told: Reckoned,
    rule: Rule,
    evidence: Evidence,
    circumstances: Circumstances,
    place: int,
    since_test: float,
    down: bool,
) -> Dated:
    """Return the date an item bears, by its place in the evidence. `since_test` are its shows since its last test."""
    by, left, why = told.test_by, float(told.shows_left), told.why
    newest = evidence.newest.get(place)
    if newest is not None and newest.watch and by is not None:
        began = evidence.day(newest.at)
        half = max(began + (by - began) // 2, began + timedelta(days=rule.least_days))
        if half < by:
            by = half
            left = max(0.0, min(left, float(floor((left + since_test) / 2 - since_test))))
            why = f"{why} Its last test said watch, so half of that: {day_words(by)}."
    if not circumstances.in_use[place]:
        return Dated(test_by=None, shows_left=left, why=why[:LONGEST_WHY], prior_share=told.prior_share)
    for day, because in () if down else _calls(rule, evidence, circumstances, place):
        if by is None or day < by:
            by = day
            why = f"{because[0].upper()}{because[1:]} on {day_words(day)} and it has not been tested since. {why}"
    return Dated(test_by=by, shows_left=left, why=why[:LONGEST_WHY], prior_share=told.prior_share)


def _calls(rule: Rule, evidence: Evidence, circumstances: Circumstances, place: int) -> list[tuple[date, str]]:
    """Return what calls for a test at once, the soonest first, each with its day."""
    found = [(day, CALLED[why]) for why, day in circumstances.calls.get(place, ()) if call_binds(rule, why)]
    if rule.after_repair and place in evidence.mended:
        found.append((evidence.day(evidence.mended[place]), "it was repaired"))
    if rule.after_symptom and place in evidence.spoken_for and circumstances.situations.tested_on[place] > 0:
        found.append((evidence.day(evidence.spoken_for[place]), "a report of it was closed without a test"))
    return sorted(found)


def is_news(old: RiskRow, new: RiskRow, by: By) -> bool:
    """Say whether what was worked out again differs from what is written by more than a night's creep."""
    exact = ("failures", "shows", "starts", "starts_bad", "since", "retire")
    if any(getattr(old, name) != getattr(new, name) for name in exact):
        return True
    if abs(old.chance_now - new.chance_now) > _CHANCE * max(old.chance_now, new.chance_now):
        return True
    if abs(old.prior_share - new.prior_share) > _SHARE:
        return True
    if old.test_by is None or new.test_by is None or by != By.RATE:
        return old.test_by != new.test_by
    return abs((new.test_by - old.test_by).days) > _DAYS
