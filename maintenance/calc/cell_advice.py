"""Keep or swap: the show's limit shared out over its lines, hard rules, advice, and the sentences."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import ceil, exp, floor, log1p

from maintenance.calc.cell_life import chance_of_dying
from maintenance.calc.cell_words import Advice, CellError, CellKind, Life, Pool, Seen, Stakes, System

SHOW_LIMIT = 1 / 50  # of shows may lose a channel to a cell
LINE_LIMITS = {Stakes.CRITICAL: 0.005, Stakes.NORMAL: 0.02, Stakes.REHEARSAL: 0.20}
SPARE_FROM = 0.25  # of its limit: keep the set, and carry another


def shares(limit: float = SHOW_LIMIT, lines: Sequence[Stakes] = ()) -> tuple[float, ...]:
    """Return each line's share of the show's chance of losing a channel, by its stakes and never above the usual for them.

    Together the shares keep the show within its limit. What is rehearsed may die: those lines have the rehearsal's own limit.
    """
    if not (0 < limit < 1):
        raise CellError("The limit of a show is a chance between 0 and 1: 1 show in 50 is 0.02.")
    counted = sum(-log1p(-LINE_LIMITS[one]) for one in lines if one is not Stakes.REHEARSAL)
    scale = min(1.0, -log1p(-limit) / counted) if counted else 1.0
    return tuple(LINE_LIMITS[one] if one is Stakes.REHEARSAL else 1 - exp(scale * log1p(-LINE_LIMITS[one])) for one in lines)


def chance_of_losing_one(chances: Sequence[float]) -> float:
    """Return the chance that a show loses at least one channel, from the chances of its lines."""
    if any(one >= 1 for one in chances):
        return 1.0
    return -(exp(sum(log1p(-one) for one in chances)) - 1)


class Rule(StrEnum):
    LEAKED = "leaked"
    MIXED = "mixed"
    ZINC_CARBON = "zinc-carbon in a transmitter"
    FLOOR = "below the least volts"
    EXPIRED = "past its date"
    UNKNOWN = "history not known"
    POLICY = "fresh every show"


@dataclass(frozen=True, kw_only=True)
class Ruling:
    """A rule that comes before the sums: what to do, where what comes out goes, whether fitting it is refused, and why."""

    rule: Rule
    advice: Advice
    out_to: Pool
    refuse: bool
    words: str

    def __str__(self) -> str:
        return self.words


def hard_rules(
    kind: CellKind,
    *,
    in_series: int = 1,
    seen: Seen | None = None,
    leaked: bool = False,
    mixed: bool = False,
    expired: bool = False,
    was_new: bool | None = True,
    transmitter: bool = False,
    fresh_every_show: bool = False,
    hours_used: float = 0.0,
    rehearsal: bool = False,
) -> tuple[Ruling, ...]:
    """Return the rules that this set breaks, the gravest first; none when the sums may decide."""
    found: list[Ruling] = []

    def say(rule: Rule, out_to: Pool, words: str, refuse: bool = False) -> None:
        charge = rule is Rule.POLICY and kind.rechargeable
        found.append(
            Ruling(
                rule=rule,
                advice=Advice.CHARGE if charge else Advice.SWAP,
                out_to=Pool.CHARGE if kind.rechargeable and out_to is not Pool.QUARANTINE else out_to,
                refuse=refuse,
                words=words,
            )
        )

    if leaked:
        say(Rule.LEAKED, Pool.QUARANTINE, "A cell leaks or is swollen: gloves on, into quarantine, look at the contacts.", True)
    if mixed:
        say(
            Rule.MIXED,
            Pool.RECYCLE,
            "Old and new, makes or types are mixed: the weakest is driven dry and leaks. All out.",
            True,
        )
    if transmitter and kind.system is System.ZINC_CARBON:
        words = "Zinc-carbon lasts minutes in a transmitter: fit alkaline, lithium or charged cells."
        say(Rule.ZINC_CARBON, Pool.RECYCLE, words, True)
    if seen is not None and kind.floor_v is not None and not kind.regulated and seen.volts < kind.floor_v * in_series:
        words = f"{seen.volts:.3g} V is below {kind.floor_v * in_series:.3g} V, the least for a show: swap."
        say(Rule.FLOOR, Pool.RECYCLE, words)
    if expired and not rehearsal:
        say(Rule.EXPIRED, Pool.REHEARSAL, "Past its date: not for a show. Test it for rehearsals.")
    if was_new is None and not rehearsal:
        say(Rule.UNKNOWN, Pool.REHEARSAL, "Nobody knows what it has been through: test it, and keep it to rehearsals.")
    if fresh_every_show and not rehearsal and (hours_used > 0 or was_new is not True):
        if kind.rechargeable:
            say(Rule.POLICY, Pool.CHARGE, "Charged for every show: charge it the night before.")
        else:
            words = "Fresh every show: swap. What comes out is tested and goes to the rehearsal pool."
            say(Rule.POLICY, Pool.REHEARSAL, words)
    return tuple(found)


def advise(life: Life, need_h: float, limit: float) -> Advice:
    """Return keep, keep and carry a spare, or swap: by the chance of dying within the need against the line's limit."""
    chance = chance_of_dying(life, need_h)
    if chance > limit:
        return Advice.SWAP
    return Advice.SPARE if chance > SPARE_FROM * limit else Advice.KEEP


def hours_down(hours: float) -> int:
    """Return hours left as said: whole, down; from 200 on in tens."""
    whole = floor(max(hours, 0.0) + 1e-9)
    return whole if whole < 200 else whole // 10 * 10


def hours_up(hours: float) -> int:
    """Return hours needed as said: whole, up."""
    return ceil(max(hours, 0.0) - 1e-9)


def said_chance(chance: float) -> str:
    """Return a chance in words, never smaller than it is: 1 in 10; 7 in 10; more than 9 in 10."""
    if not (0 <= chance <= 1):
        raise ValueError("A chance lies between 0 and 1.")
    if chance > 0.9:
        return "more than 9 in 10"
    if chance > 0.5:
        return f"{ceil(chance * 10 - 1e-9)} in 10"
    if chance < 1e-4:
        return "less than 1 in 10,000"
    of = floor(1 / chance + 1e-9)
    size = 1 if of < 20 else 10 if of < 200 else 100 if of < 2000 else 1000
    return f"1 in {of // size * size:,}"


def said_left(life: Life) -> str:
    """Return hours left in words: 3 to 71 h left, likely 24."""
    low, likely, high = hours_down(life.low_h), hours_down(life.median_h), hours_down(life.high_h)
    if high < 1:
        return "less than 1 h left"
    if low == high:
        return f"{low} h left"
    return f"{low} to {high} h left, likely {likely if likely >= 1 else 'less than 1'}"


_DOES = {
    Advice.KEEP: "keep",
    Advice.SWAP: "swap",
    Advice.SPARE: "keep, and carry a spare",
    Advice.CHARGE: "charge",
}


def sentence(life: Life, need_h: float, what: str, limit: float, advice: Advice | None = None) -> str:
    """Return why, in one line: 3 to 71 h left, likely 24; the ceilidh needs 5; 1 in 10 it dies: swap."""
    chance = chance_of_dying(life, need_h)
    does = _DOES.get(advice or advise(life, need_h, limit), "")
    said = f"{said_left(life)}; {what} needs {hours_up(need_h)}; {said_chance(chance)} it dies"
    return f"{said}: {does}" if does else said


def behind_phantom(life: Life | None, *, known: bool = True) -> str:
    """Return what to say of a device on phantom, with what happens when that channel's phantom is off.

    Without a life: no cell is in it, or nobody knows (`known` false) what is.
    """
    if life is None and not known:
        return "behind phantom; what cell is in it, if any, was never written down: take it for dead if phantom is off"
    if life is None:
        return "no cell: dead if phantom is off"
    return f"behind phantom; alone the cell lasts about {hours_down(life.median_h)} h, {hours_down(life.low_h)} at worst"
