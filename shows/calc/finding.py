"""When a fault came out, by the times of the show it was reported for: at line check and in the show cost differently."""

from datetime import datetime

from maintenance.calc.symptoms import Found
from shows.calc.words import Action


def found_when(*, action: str, at: datetime, load_in: datetime | None, start: datetime | None, end: datetime | None) -> str:
    """Say when a fault came out, as a `Found`; empty where no show is known, or it came out in the shop before load-in.

    From load-in to the start is line check, from the start to the end the show, later is afterwards. What is said to be bad
    as it comes back or onto the truck came out afterwards, unless the show was still on.
    """
    if start is not None and end is not None and start <= at < end:
        return Found.SHOW
    if action in (Action.BACK, Action.TRUCK):
        return Found.AFTER
    if load_in is None or start is None or at < load_in:
        return ""
    return Found.LINE_CHECK if at < start else Found.AFTER
