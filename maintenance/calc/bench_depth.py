"""How deep a test's readings went, which may be less than its tester set out to do."""

from collections.abc import Sequence
from math import inf

from maintenance.calc.bench import FLEXED, IN_OHMS, Depth, Finding, Verdict
from maintenance.calc.wiring_effects import Name
from maintenance.calc.wiring_nets import Wiring, pin_words
from maintenance.calc.wiring_readings import BEEP, BEEP_FLOOR_OHM, Book

FEW = 4


def depth_seen(*, depth: Depth, wiring: Wiring, book: Book, findings: Sequence[Finding]) -> tuple[Depth, tuple[str, ...]]:
    """Return how deep the readings of a lead went, and sentences on what keeps it from what was set out to be done.

    A pass is as deep as its weakest reading from end to end: ohms where each of these is a number, flexed in ohms where each
    was read while bent. By lamps the tester says that it was bent, for nothing else shows it. A failure is as deep as what
    found it, so that no shallower test answers it.
    """
    failed = any(finding.weight is Verdict.FAIL for finding in findings)
    ohms, bent = depth in IN_OHMS, depth in FLEXED
    told: list[str] = []
    through = _through(wiring, book) if (ohms and book.lamps) or bent else []
    if ohms and book.lamps:
        beeped = [key for key in through if _by_lamp(book, key)]
        if failed:
            ohms = book.numbers > 0
        elif beeped:
            ohms = False
            told.append(
                "It counts as a test by lamps or beeps: no figure was read from end to end."
                if len(beeped) == len(through)
                else f"It counts as a test by lamps or beeps: {_said(wiring, beeped)} beeped, and no figure was read there."
            )
    if bent and ohms:
        still = [key for key in through if key not in book.flexed]
        if failed:
            bent = any(finding.name == Name.INTERMITTENT for finding in findings) or not still
        elif still:
            bent = False
            told.append(
                "It does not count as flexed: nothing was read while it was bent."
                if len(still) == len(through)
                else f"It does not count as flexed: {_said(wiring, still)} was not read while it was bent."
            )
    if ohms:
        return (Depth.OHMS_FLEXED if bent else Depth.OHMS), tuple(told)
    return (Depth.LAMPS_FLEXED if bent else Depth.LAMPS), tuple(told)


def _through(wiring: Wiring, book: Book) -> list[int]:
    net_of, pins = wiring.net_index, book.pins
    return [key for key in book.seen if net_of[key // pins] == net_of[key % pins]]


def _by_lamp(book: Book, key: int) -> bool:
    value = book.seen[key]
    return value == BEEP or (value == inf and book.floors.get(key) == BEEP_FLOOR_OHM)


def _said(wiring: Wiring, keys: Sequence[int]) -> str:
    count = len(wiring.pins)
    pairs = [divmod(key, count) for key in keys[:FEW]]
    words = ", ".join(f"{pin_words(wiring.pins[a])}–{pin_words(wiring.pins[b])}" for a, b in pairs)
    return f"{words} and {len(keys) - FEW} more" if len(keys) > FEW else words
