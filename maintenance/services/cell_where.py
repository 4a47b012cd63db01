"""Where cells that come out go, when nobody says otherwise, and what is said of it."""

from maintenance.calc.cell_words import Pool, SwapReason
from maintenance.models import FittedSet

UNUSED_H = 0.1  # hours on: what ran less did not run
GLOVES = (
    "Gloves on: leaking or swollen cells go into quarantine, apart from others. Look at the contacts before the device goes."
)


def goes_to(fitted: FittedSet | None, *, reason: SwapReason, volts: float | None = None, expired: bool = False) -> str:
    """Return the pool: quarantine when it leaks, the charger when it is charged, its lot when it was never used, the rehearsal
    pool when it was read and holds enough, else the recycling tub; nowhere when nothing was in."""
    if fitted is None:
        return ""
    if reason == SwapReason.LEAKED:
        return Pool.QUARANTINE
    if fitted.type.rechargeable:
        return Pool.CHARGE
    if reason == SwapReason.DIED or expired:
        return Pool.RECYCLE
    floor = None if fitted.type.floor_v is None else fitted.type.floor_v * fitted.cells
    if volts is not None and (floor is None or volts < floor):
        return Pool.RECYCLE
    if fitted.was_new is True and fitted.hours_used < UNUSED_H:
        return Pool.NEW
    return Pool.REHEARSAL if volts is not None else Pool.RECYCLE


def where_words(fitted: FittedSet | None, where: str, volts: float | None = None) -> str:
    """Say where what came out goes, with the safety wording."""
    if fitted is None or not where:
        return ""
    if where == Pool.QUARANTINE:
        return GLOVES
    if where == Pool.CHARGE:
        return "What came out goes on charge: keep the set together."
    if where == Pool.NEW:
        return "What came out was never used by the record: back on the shelf, to its lot. In doubt, read it first."
    if where == Pool.REHEARSAL:
        return f"What came out, at {volts:g} V, goes to the rehearsal pool: the set together, terminals covered."
    return f"What came out goes {tub_words(taped=fitted.type.needs_taped)}"


def tub_words(*, taped: bool) -> str:
    """Say the way to the recycling tub: terminals that can still short are taped, those of 9 V blocks and lithium cells."""
    return f"to the recycling tub{': tape the terminals first' if taped else ''}. Never charge primaries."
