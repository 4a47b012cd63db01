"""What came of one attempt to tell somebody."""

from dataclasses import dataclass
from enum import StrEnum


class Fate(StrEnum):
    """What follows from an attempt."""

    WENT = "went"  # somebody took it
    LATER = "later"  # it may go another time
    REFUSED = "refused"  # this message will not go there, however often it is tried
    GONE = "gone"  # nothing will ever go to that address


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """A fate with its sentence. `down`: not this address but the whole way there is shut, so that others need not be tried."""

    fate: Fate
    said: str = ""
    down: bool = False


WENT = Outcome(fate=Fate.WENT)
