"""The enumerations of where gear goes: actions, outcomes, signals, feeds, how critical."""

from enum import StrEnum


class Action(StrEnum):
    OUT = "out"
    TRUCK = "truck"
    BACK = "back"
    INSPECT = "inspect"
    UNDO = "undo"


class Outcome(StrEnum):
    ACCEPTED = "accepted"
    CONTRADICTION = "contradiction"
    REFUSED = "refused"
    UNKNOWN = "unknown"


class Signal(StrEnum):
    FINE = "fine"
    LOOK = "look"
    STOP = "stop"


class Condition(StrEnum):
    """What one tap says of a thing that came back."""

    FINE = ""
    SUSPECT = "suspect"
    DAMAGED = "damaged"
    PARTS_MISSING = "parts missing"
    LABEL_GONE = "label gone"


class Feed(StrEnum):
    NOTHING = ""
    CELLS = "cells"
    PHANTOM = "phantom"
    MAINS = "mains"


class Critical(StrEnum):
    CRITICAL = "critical"
    NORMAL = "normal"
    SPARE = "spare"


class ShowState(StrEnum):
    """What an owner says of a show; whether it is on now follows from its times."""

    PLANNED = "planned"
    CLOSED = "closed"
    CANCELLED = "cancelled"


class Ended(StrEnum):
    """How a checkout ended."""

    BACK = "back"
    STRAIGHT_ON = "straight on"
    MOVED = "moved"
    RECORD_YIELDED = "record yielded"
