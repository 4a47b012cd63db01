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


NARROW = "\u202f"  # before the sign: it must not break across lines


def per_cent(share: float) -> str:
    """Write a share as a person says it: 5 %, 0.4 %, under 0.1 %."""
    percent = 100 * share
    if percent >= 9.95 or (abs(percent - round(percent)) < 0.05 and percent >= 0.95):
        return f"{percent:.0f}{NARROW}%"
    return f"{percent:.1f}{NARROW}%" if percent >= 0.1 else f"under 0.1{NARROW}%" if percent > 0 else f"0{NARROW}%"


def counted(number: float, word: str) -> str:
    whole = round(number)
    return f"{whole} {word}" if whole == 1 else f"{whole} {word}s"


def times_words(failures: float) -> str:
    """Say how often something failed: not failed, failed once, failed 3 times."""
    whole = round(failures)
    return "not failed" if whole < 1 else "failed once" if whole == 1 else f"failed {whole} times"


def in_shows(shows: float) -> str:
    return f"in {counted(shows, 'show')}" if round(shows) else "in less than a show"


def record_words(noun: str, failures: float, shows: float, others: int, times: float, exposure: float, guess: float) -> str:
    """Say what is on record of a thing and of the others like it, and how much of what is reckoned is still a guess."""
    own = f"has {times_words(failures)} {in_shows(shows)}" if failures > 0 or shows > 0 else "has no record yet"
    kin = ""
    if others > 0 and (round(times) or round(exposure)):
        often = "never failed" if round(times) < 1 else times_words(times)
        kin = f", {others} like it {often} in {exposure:.0f}"
    share = "all" if guess >= 0.995 else per_cent(guess)
    return f"This {noun} {own}{kin}; {share} of this is still our first guess."


def shown(day: int) -> str:
    on = date.fromordinal(day)
    return f"{on:%a} {on.day} {on:%b}"


def date_words(by: By, day: int) -> str:
    match by:
        case By.NOTHING:
            return "but never tested, so no date is set"
        case By.BOOKED:
            return f"as booked until {shown(day)}"
        case By.CALENDAR:
            return f"but the calendar says {shown(day)} first"
        case By.SOONEST:
            return f"not sooner than {shown(day)} by the rule"
        case _:
            return f"at its pace until {shown(day)}"


def limit_words(rule: Rule, guard: Guard, limit: Limit, then: float) -> str:
    match limit:
        case Limit.TARGET:
            return f"then the chance of a bad one passes {per_cent(rule.target)}"
        case Limit.STEP:
            return "an interval grows to twice the last one at most"
        case Limit.GUARD:
            return f"held short because {guard.short}"
        case Limit.MOST:
            return f"the rule allows {counted(rule.most_shows or 0, 'show')} at most"
        case _:
            over = f"it is then {per_cent(then)} likely to be bad, not {per_cent(rule.target)}"
            return f"the rule's least is {rule.least_shows}, and {over}: carry a spare"


def left_words(left: int, date_said: str, limit_said: str) -> str:
    """Say how many shows are left, until when, and what set that, in one sentence."""
    return (
        f"About {counted(left, 'show')} left, {date_said}: {limit_said}."
        if left
        else f"No show left, {date_said}: {limit_said}."
    )
