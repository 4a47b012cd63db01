"""What reckoning says: how a share, a count and a day are written, what set the shows left and what set the date."""

from datetime import date
from enum import StrEnum

from maintenance.calc.retest_defaults import Rule
from maintenance.calc.retest_guard import Guard


class Limit(StrEnum):
    """What set the shows left."""

    TARGET = "target"
    STEP = "step"
    GUARD = "guard"
    LEAST = "least"
    MOST = "most"


class By(StrEnum):
    """What set the date."""

    NOTHING = ""
    BOOKED = "booked"
    RATE = "rate"
    CALENDAR = "calendar"
    SOONEST = "soonest"


def per_cent(share: float) -> str:
    """Write a share as a person says it: 5 %, 0.4 %, under 0.1 %."""
    percent = 100 * share
    if percent >= 9.95 or (abs(percent - round(percent)) < 0.05 and percent >= 0.95):
        return f"{percent:.0f} %"
    return f"{percent:.1f} %" if percent >= 0.1 else "under 0.1 %" if percent > 0 else "0 %"


def counted(number: float, word: str) -> str:
    whole = round(number)
    return f"{whole} {word}" if whole == 1 else f"{whole} {word}s"


def shown(day: int) -> str:
    on = date.fromordinal(day)
    return f"{on:%a} {on.day} {on:%b}"


def date_words(by: By, day: int, left: int) -> str:
    match by:
        case By.NOTHING:
            return "never tested, so no date is set"
        case By.BOOKED:
            return f"the shows it is booked for pass that after {shown(day)}"
        case By.CALENDAR:
            return f"the calendar says {shown(day)} first"
        case By.SOONEST:
            return f"not sooner than {shown(day)} by the rule"
        case _:
            return f"at the pace of its shows that is {shown(day)}"


def limit_words(rule: Rule, guard: Guard, limit: Limit, left: int, then: float) -> str:
    shows = f"about {counted(left, 'show')}"
    match limit:
        case Limit.TARGET:
            return f"{shows} left before the chance of a bad one passes {per_cent(rule.target)}"
        case Limit.STEP:
            return f"{shows} left, as an interval grows to twice the last one at most"
        case Limit.GUARD:
            return f"{shows} left, held short because {guard.short}"
        case Limit.MOST:
            return f"{shows} left, as the rule allows {counted(rule.most_shows or 0, 'show')} at most"
        case _:
            over = f"the chance of a bad one is then {per_cent(then)}, over the {per_cent(rule.target)} wanted"
            return f"{shows} left by the rule's least of {rule.least_shows}, but {over}: carry a spare"
