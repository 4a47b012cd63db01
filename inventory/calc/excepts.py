"""Good except 7, 14: which channels of a part-good thing nothing may be patched to, read from what is written of it."""

import re

_SPAN = re.compile(r"([0-9]{1,4})(?:\s*(?:-|\u2013|to)\s*([0-9]{1,4}))?")


def dead_channels(excepts: str) -> frozenset[int]:
    """Return the channels written in `excepts` ("7", "7, 14", "9 to 12"), none for an empty one.

    Words beside the numbers are passed over; channels begin at 1.
    """
    found: set[int] = set()
    for first, last in _SPAN.findall(excepts):
        low, high = sorted((int(first), int(last or first)))
        found.update(range(max(low, 1), high + 1))
    return frozenset(found)


def dead_words(excepts: str) -> str:
    """Say what a part-good thing asks of whoever patches: nothing on 7 and 14. Empty when all its channels are good."""
    dead = [str(channel) for channel in sorted(dead_channels(excepts))]
    if not dead:
        return f"nothing on {excepts.strip()}" if excepts.strip() else ""
    return f"nothing on {' and '.join([', '.join(dead[:-1]), dead[-1]] if len(dead) > 1 else dead)}"
