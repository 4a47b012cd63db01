"""First guesses of how often things fail and when they are tested again, by kind: what holds until the owner says otherwise."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from inventory.calc.kinds import Kind

MEMORY = "a judgement of the trade, from memory, no published source"
PROPOSAL = "a proposal"
# The catalogue has a figure for these only; the rest stand beside the kind they are most like.
LIKE = "no figure of its own, taken from what it is most like"


@dataclass(frozen=True, kw_only=True)
class Rule:
    """When things of a type are tested again; the model RetestRule has a column of the same name for each but `source`.

    `target` is the chance of being bad that may not be passed before the next test. `least_*` and `most_*` clamp; None is
    no such limit. `median_shows` and `pessimistic_shows` are the guessed shows until failure (half and 1 in 20 are worse).
    """

    target: float = 0.05
    least_days: int = 7
    most_days: int | None = None
    least_shows: int = 3
    most_shows: int | None = None
    after_repair: bool = True
    after_wet: bool = True
    after_symptom: bool = True
    median_shows: float = 150.0
    pessimistic_shows: float = 40.0
    storage_shows_a_month: float = 0.0
    minutes_a_test: float = 3.0
    line_check_cents: int = 1_000
    show_cents: int = 20_000
    source: str = PROPOSAL


COLUMNS = tuple(name for name in Rule.__dataclass_fields__ if name != "source")


def rule_from(row: object) -> Rule:
    """Return the rule of a stored row that has the same columns."""
    return Rule(**{name: getattr(row, name) for name in COLUMNS}, source="set by the owner")


# Days: leads 6 months, direct boxes 12 months, mains leads 3 months are proposals (the last after a template of the trade;
# the local rule wins). Other kinds are given the days of what they are most like. Shows until failure (median, pessimistic):
# a judgement of the trade, from memory. Minutes a test: proposals.
_LEAD_DAYS, _BOX_DAYS, _MAINS_DAYS = 183, 365, 91


def _rule(median: float, pessimistic: float, days: int, minutes: float, figures: str = MEMORY) -> Rule:
    return Rule(
        median_shows=median,
        pessimistic_shows=pessimistic,
        most_days=days,
        minutes_a_test=minutes,
        source=f"shows until failure: {figures}; days and minutes: {PROPOSAL}",
    )


MICROPHONE_LEAD = _rule(150, 40, _LEAD_DAYS, 2)
INSTRUMENT_LEAD = _rule(80, 20, _LEAD_DAYS, 2)
ADAPTER = _rule(60, 15, _LEAD_DAYS, 2)
NETWORK_LEAD = _rule(150, 40, _LEAD_DAYS, 3)
LOUDSPEAKER_LEAD = _rule(400, 100, _LEAD_DAYS, 2)
PASSIVE_BOX = _rule(1000, 250, _BOX_DAYS, 5)
ACTIVE_BOX = _rule(400, 100, _BOX_DAYS, 8)
DYNAMIC = _rule(800, 200, _BOX_DAYS, 4)
CONDENSER = _rule(400, 100, _BOX_DAYS, 5)
WIRELESS = _rule(200, 50, _LEAD_DAYS, 6)
BOX_OF_INPUTS = _rule(1000, 250, _BOX_DAYS, 2, LIKE)  # a channel; see below
LOUDSPEAKER = _rule(400, 100, _BOX_DAYS, 8, LIKE)
MAINS_LEAD = _rule(400, 100, _MAINS_DAYS, 4, LIKE)
OTHER = _rule(400, 100, _BOX_DAYS, 5, LIKE)

# The keys of wirings whose leads are not microphone leads.
_BY_WIRING = {
    "ts": INSTRUMENT_LEAD,
    "network-straight": NETWORK_LEAD,
    "rca-pair": ADAPTER,
    "rca": ADAPTER,
    "stereo-split": ADAPTER,
}
_STEMS = (
    ("loudspeaker", LOUDSPEAKER_LEAD),
    ("network", NETWORK_LEAD),
    ("ts-", ADAPTER),
    ("rca", ADAPTER),
    ("headset", ADAPTER),
    ("three-pin-", ADAPTER),
    ("dmx-terminator", ADAPTER),
    ("dmx-5-3", ADAPTER),
)


def _number(facts: Mapping[str, Any], name: str) -> float:
    value = facts.get(name)
    return float(value) if isinstance(value, int | float) else 0.0


def _of_channels(channels: float) -> Rule:
    """Return the rule of a thing of so many channels: the first of many to fail comes sooner, in proportion.

    Shows until the first of n like channels fails is a channel's divided by n (memoryless lives; our derivation).
    """
    count = max(1.0, channels)
    one = BOX_OF_INPUTS
    return replace(
        one,
        median_shows=one.median_shows / count,
        pessimistic_shows=one.pessimistic_shows / count,
        minutes_a_test=round(2 + 1.0 * count, 1),
        source=f"shows until failure: {MEMORY}, a channel's divided by {count:g} channels; days and minutes: {PROPOSAL}",
    )


def default_rule(kind: str, wiring: str = "", facts: Mapping[str, Any] | None = None) -> Rule:
    """Return the first guess for a kind of gear, its wiring's key and the facts of its type; `source` says whose figures.

    Facts looked at: `active` (direct boxes), `transducer` (microphones), `sends` and `returns` or `inputs` and `outputs`
    (multicores, stage boxes, desks), `end_a` and `end_b` (leads with a 3.5 mm plug). What is missing is not guessed.
    """
    known = facts or {}
    match kind:
        case Kind.LEAD:
            ends = f"{known.get('end_a', '')} {known.get('end_b', '')}"
            if "3.5 mm" in ends:
                return ADAPTER
            if wiring in _BY_WIRING:
                return _BY_WIRING[wiring]
            return next((rule for stem, rule in _STEMS if wiring.startswith(stem)), MICROPHONE_LEAD)
        case Kind.INTERFACE_BOX:
            return ACTIVE_BOX if known.get("active") else PASSIVE_BOX
        case Kind.MICROPHONE:
            return CONDENSER if known.get("transducer") == "condenser" or known.get("needs_phantom") else DYNAMIC
        case Kind.TRANSMITTER | Kind.RECEIVER:
            return WIRELESS
        case Kind.MULTICORE:
            return _of_channels(_number(known, "sends") + _number(known, "returns"))
        case Kind.STAGE_BOX | Kind.DESK:
            return _of_channels(_number(known, "inputs") + _number(known, "outputs"))
        case Kind.LOUDSPEAKER | Kind.AMPLIFIER:
            return LOUDSPEAKER
        case Kind.POWER:
            return MAINS_LEAD
        case _:
            return OTHER
