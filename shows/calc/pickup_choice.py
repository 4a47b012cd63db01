"""Which mic/DI a source wants: every one there is, worked through the numbers, the best first, and what the second loses.

"pickup" here is what picks a source up: a direct box, an isolator, a microphone, a plain lead. Points are ours: about a decibel
of harm each. A person may always overrule; the figures stay.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from shows.calc import choice_words as words
from shows.calc.lines import Way
from shows.calc.pickups import By, Pickup, Stage, Weighed
from shows.calc.signal_path import Source
from shows.calc.weighing import BARE_CARTRIDGE, mixer_sees_ohm, weigh, with_range

__all__ = ["By", "Choice", "Pickup", "Stage", "Way", "Weighed", "choose", "mixer_sees_ohm", "weigh", "with_range"]
NEAR = 0.5
HEARD_DB = 3.0  # boxes that differ by less come up to the same on the mixer's gain
OTHER_MAKE = {By.ACTIVE: By.PASSIVE, By.PASSIVE: By.ACTIVE}
A_MAKE = {By.ACTIVE: "An active", By.PASSIVE: "A passive"}
SAID_BY_FEED = frozenset({"it needs phantom", "it lives on its cells here"})


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What to take with one sentence why, the second choice and what is lost by taking it, and all that was weighed."""

    first: Weighed | None
    why: str
    second: Weighed | None
    lost: str
    weighed: tuple[Weighed, ...]


def choose(source: Source, stage: Stage, pickups: Sequence[Pickup], *, ends_ohm: tuple[float, float] | None = None) -> Choice:
    """Return the pickups in order of what speaks against them; equals by name. `ends_ohm`: the source's range, for figures."""
    weighed = sorted((weigh(source, stage, one) for one in pickups), key=lambda w: (round(w.points, 2), w.pickup.name))
    works = [one for one in weighed if one.works]
    if ends_ohm is not None:
        works[:2] = [weigh(source, stage, one.pickup, ends_ohm=ends_ohm) for one in works[:2]]
    first, second = (works[0] if works else None), (works[1] if len(works) > 1 else None)
    return Choice(
        first=first,
        why=_why(first, works[1:], stage) + _other_make(first, works[1:]) if first else _nothing(weighed),
        second=second,
        lost=_lost(first, second) if first and second else "",
        weighed=tuple(weighed),
    )


def _why(first: Weighed, rest: Sequence[Weighed], stage: Stage) -> str:
    told = first.says
    if first.pickup.isolates and stage.other_feed:
        told += " It isolates, and source and mixer hang on different supplies."
    if first.pickup.isolates and stage.live and stage.harm:
        told += f" It keeps phantom, which is on there for others, away from {stage.harm}."
    near = next((one for one in rest if one.points - first.points < NEAR), None)
    mind = [said for said in first.against if said not in SAID_BY_FEED]
    if mind:
        told += f" Mind: {'; '.join(mind)}."
    if near is None or near.over_db:
        return told
    if near.pickup.by is By.MICROPHONE or first.pickup.by is By.MICROPHONE:
        return told + (f" {near.pickup.name} is usual too: choose by ear." if near.pickup.usual is not None else "")
    return f"{told} {near.pickup.name} loses {_loss_of(near)}{_hotter(first, near)}: either will do."


def _hotter(first: Weighed, near: Weighed) -> str:
    if not (first.level and near.level) or abs(near.level.peak_dbu - first.level.peak_dbu) < HEARD_DB:
        return ""
    by = near.level.peak_dbu - first.level.peak_dbu
    return f" and comes {words.decibels(by)}\u2009dB {'hotter' if by > 0 else 'quieter'}"


def _other_make(first: Weighed, rest: Sequence[Weighed]) -> str:
    """Say what the best passive box does where an active one was chosen, and the other way round; empty: it was said."""
    other = OTHER_MAKE.get(first.pickup.by)
    if other is None or (rest and rest[0].pickup.by is other):  # the second choice has its figures of its own
        return ""
    one = next((one for one in rest if one.pickup.by is other and one.answer is not None), None)
    return f" {A_MAKE[other]} one, {one.pickup.name}, {one.in_short}." if one is not None else ""


def _loss_of(one: Weighed) -> str:
    return words.loss(*(end.loss_db for end in one.ends)) if one.ends else words.loss(one.answer.loss_db if one.answer else 0.0)


def _lost(first: Weighed, second: Weighed) -> str:
    # its figures tell of bass and top already
    told = ("it takes the bass", "the top falls", "it is not what is usually")
    extra = [said for said in second.against if said not in first.against and not said.startswith(told)]
    louder = ""
    if first.level and second.level and abs(first.level.peak_dbu - second.level.peak_dbu) >= 1 and second.answer is None:
        by = second.level.peak_dbu - first.level.peak_dbu
        louder = f" It is {words.decibels(by)}\u2009dB {'hotter' if by > 0 else 'quieter'}."
    return f"{second.says}{louder}" + (f" {_upper('; '.join(extra))}." if extra else "")


def _upper(said: str) -> str:
    return said[0].upper() + said[1:]


def _nothing(weighed: Sequence[Weighed]) -> str:
    if not weighed:
        return "There is nothing on record that could pick it up."
    best = weighed[0]
    if BARE_CARTRIDGE in best.against:
        return f"{_upper(BARE_CARTRIDGE)}. Behind one it is a line: a record player through its mixer."
    return f"Nothing on record will do. {best.pickup.name}: {'; '.join(best.against)}."
