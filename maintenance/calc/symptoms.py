"""What a hand can say is wrong, in the words used on a stage."""

from enum import StrEnum


class Symptom(StrEnum):
    HUMS = "hums"
    CRACKLES = "crackles"
    THIN = "thin"
    QUIET = "quiet"
    DEAD = "dead"
    INTERMITTENT = "comes and goes"
    NO_PHANTOM = "no phantom"
    FADES = "gets quieter"
    DAMAGED = "damaged"
    PARTS_MISSING = "parts missing"
    WET = "got wet"
    OTHER = "other"


class Found(StrEnum):
    """When a fault came out."""

    LINE_CHECK = "line check"
    SHOW = "show"
    AFTER = "after"
    BENCH = "bench"
