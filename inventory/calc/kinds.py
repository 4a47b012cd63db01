"""The enumerations of what we own: kinds of gear, standings, wheres. Model choices come from here."""

from enum import StrEnum


class Kind(StrEnum):
    INTERFACE_BOX = "interface-box"
    LEAD = "lead"
    MICROPHONE = "microphone"
    TRANSMITTER = "transmitter"
    RECEIVER = "receiver"
    MULTICORE = "multicore"
    STAGE_BOX = "stage-box"
    DESK = "desk"
    LOUDSPEAKER = "loudspeaker"
    AMPLIFIER = "amplifier"
    POWER = "power"
    CELL_SET = "cell-set"
    STAND = "stand"
    CASE = "case"
    CONSUMABLE = "consumable"
    INSTRUMENT = "instrument"


KIND_NAMES = {
    Kind.INTERFACE_BOX: "interface box",
    Kind.LEAD: "lead or adapter",
    Kind.MICROPHONE: "microphone",
    Kind.TRANSMITTER: "transmitter",
    Kind.RECEIVER: "receiver",
    Kind.MULTICORE: "multicore",
    Kind.STAGE_BOX: "stage box",
    Kind.DESK: "desk",
    Kind.LOUDSPEAKER: "loudspeaker",
    Kind.AMPLIFIER: "amplifier",
    Kind.POWER: "mains lead or distribution",
    Kind.CELL_SET: "rechargeable set",
    Kind.STAND: "stand, clip or pole",
    Kind.CASE: "case or bag",
    Kind.CONSUMABLE: "consumable",
    Kind.INSTRUMENT: "bench instrument",
}

# Stands, cases and tape are never "good" or "suspect": they have no standing.
KINDS_WITHOUT_STANDING = frozenset({Kind.STAND, Kind.CASE, Kind.CONSUMABLE})
# Kinds that may be good except for some channels.
KINDS_WITH_CHANNELS = frozenset({Kind.MULTICORE, Kind.STAGE_BOX, Kind.DESK})


class Standing(StrEnum):
    """Is it good? Worked out by inventory.querysets.STANDING, in this order of precedence after `none`."""

    NONE = ""
    RETIRED = "retired"
    SUSPECT = "suspect"
    TEST_DUE = "test-due"
    GOOD_EXCEPT = "good-except"
    KNOWN_GOOD = "known-good"
    UNPROVED = "unproved"


STANDING_WORDS = {
    Standing.NONE: "",
    Standing.RETIRED: "retired",
    Standing.SUSPECT: "suspect",
    Standing.TEST_DUE: "test due",
    Standing.GOOD_EXCEPT: "good except",
    Standing.KNOWN_GOOD: "known good",
    Standing.UNPROVED: "unproved",
}


class Where(StrEnum):
    """Where is it? Worked out by inventory.querysets.WHERE, the first that holds."""

    RETIRED = "retired"
    GONE_HOME = "gone-home"
    LENT = "lent"
    MISSING = "missing"
    TRUCK = "truck"
    SHOW = "show"
    REPAIRER = "repairer"
    BENCH = "bench"
    CASE = "case"
    SHOP = "shop"


WHERE_WORDS = {
    Where.RETIRED: "gone",
    Where.GONE_HOME: "borrowed, gone home",
    Where.LENT: "lent",
    Where.MISSING: "missing",
    Where.TRUCK: "on the truck",
    Where.SHOW: "at a show",
    Where.REPAIRER: "at the repairer",
    Where.BENCH: "at the bench",
    Where.CASE: "packed in a case",
    Where.SHOP: "in the shop",
}

# A strip whose thing is not here is drawn as an outline, with this mark.
WHERE_LIFTED = {
    Where.GONE_HOME: "home",
    Where.LENT: "out",
    Where.MISSING: "question",
    Where.TRUCK: "back",
    Where.SHOW: "out",
    Where.REPAIRER: "out",
}


class PhantomKind(StrEnum):
    """How a desk or stage box switches phantom power."""

    PER_CHANNEL = "per-channel"
    PER_BANK = "per-bank"
    GLOBAL = "global"
    NONE = "none"


class Evidence(StrEnum):
    """How we know: a stronger grade wins over a weaker one."""

    SEEN = "seen"
    VOUCHED = "vouched"
    SAID = "said"
    DOUBTFUL = "doubtful"


EVIDENCE_WORDS = {
    Evidence.SEEN: "scanned itself",
    Evidence.VOUCHED: "with its case",
    Evidence.SAID: "ticked off a list",
    Evidence.DOUBTFUL: "doubtful",
}


def unseen_words(evidence: str) -> str:
    """Say how a thing is known to be somewhere where its own label was not scanned; nothing where it was."""
    return "" if evidence in {"", Evidence.SEEN} else EVIDENCE_WORDS[Evidence(evidence)]


EVIDENCE_RANK = {Evidence.SEEN: 3, Evidence.VOUCHED: 2, Evidence.SAID: 1, Evidence.DOUBTFUL: 0}


class CountCondition(StrEnum):
    """What state counted things were in when they moved."""

    GOOD = "good"
    BAD = "bad"
