"""The start page's one sentence or two: what goes out, what comes home, what is late, what wants a person."""

from dataclasses import dataclass
from datetime import datetime

_WORDS = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"]


def in_words(count: int) -> str:
    """Write a count up to twelve as a word."""
    return _WORDS[count] if 0 <= count < len(_WORDS) else str(count)


@dataclass(frozen=True, kw_only=True)
class Facts:
    """What is known of today; instants are in the company's zone."""

    now: datetime
    outs: tuple[tuple[datetime, datetime], ...] = ()  # load-in and home by of each show still to load today
    on_road: tuple[tuple[str, datetime], ...] = ()  # name and home by of each show that is out now
    next_load: datetime | None = None
    any_show: bool = True
    late_things: int = 0
    wanting: int = 0


def lede(facts: Facts) -> str:
    """Say today in at most three sentences."""
    return " ".join(part for part in (_outs(facts), _road(facts), _late(facts)) if part)


def _moment(at: datetime, now: datetime) -> str:
    if at.date() == now.date():
        return f"{at:%H:%M}"
    return f"{at:%a} {at.day} {at:%b}, {at:%H:%M}"


def _outs(facts: Facts) -> str:
    if len(facts.outs) == 1:
        load, home = facts.outs[0]
        return f"One show goes out at {load:%H:%M} and is home by {_moment(home, facts.now)}."
    if facts.outs:
        first = min(load for load, _home in facts.outs)
        return f"{in_words(len(facts.outs)).capitalize()} shows go out today, the first at {first:%H:%M}."
    if facts.on_road:
        return ""
    if not facts.any_show:
        return "No show is planned yet."
    if facts.next_load is None:
        return "Nothing goes out today, and no show is planned ahead."
    return f"Nothing goes out today; the next show loads {_moment(facts.next_load, facts.now)}."


def _road(facts: Facts) -> str:
    if len(facts.on_road) == 1:
        name, home = facts.on_road[0]
        return f"{name} is on the road and home by {_moment(home, facts.now)}."
    if facts.on_road:
        last = max(home for _name, home in facts.on_road)
        count = in_words(len(facts.on_road)).capitalize()
        return f"{count} shows are on the road, the last home by {_moment(last, facts.now)}."
    return ""


def _late(facts: Facts) -> str:
    late, want = facts.late_things, facts.wanting
    things = (
        f"{in_words(late)} {'thing is' if late == 1 else 'things are'} still out past {'its' if late == 1 else 'their'} day"
    )
    people = f"{in_words(want)} {'wants' if want == 1 else 'want'} a person"
    if late and want:
        sentence = f"{things}, and {people}."
    elif late:
        sentence = f"{things}."
    elif want:
        noun = "thing wants" if want == 1 else "things want"
        sentence = f"{in_words(want)} {noun} a person."
    else:
        return ""
    return sentence[0].upper() + sentence[1:]
