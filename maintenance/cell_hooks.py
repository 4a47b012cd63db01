"""What cells add elsewhere: what needs a person, an item's life and its answer over HTTP."""

from collections.abc import Iterable
from datetime import datetime

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from company.registries import Need
from company.templatetags.tape import clock
from company.templatetags.tape import day as day_words
from inventory.models import Item
from inventory.registries import LifeEntry
from maintenance.calc.cell_words import SWAP_REASON_WORDS, SwapReason
from maintenance.cell_between import between_shows
from maintenance.cell_querysets import counting_capacity_tests, counting_readings, counting_swaps
from maintenance.services.cell_stock import lot_words
from maintenance.services.cell_types import may_hold_cells

DID = {SwapReason.DIED: "its cell died", SwapReason.LEAKED: "its cell leaked"}

FEW = 25  # counted so far, for the start page


def page(name: str, *args: object) -> str:
    """Return a page's address; nothing where there is no such page."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


def needs(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Say once for each sort what is to do with cells between shows: at most four strips, however many sets there are."""
    if not request.user.is_technician:  # type: ignore[union-attr]
        return
    found = between_shows(at, FEW)
    url = page("cells-between")
    if found.stored:
        one = found.stored[0]
        yield Need(
            key="cells:stored",
            name=_many(len(found.stored), "set of cells", "sets of cells") + " in stored gear",
            url=url or one.fitted.item.get_absolute_url(),
            fact=f"{one.fitted.item} has had its cells in since {day_words(one.since)} and was not used.",
            why="Take them out: an empty cell left in place may leak.",
            mark="turn",
            group="cells between shows",
        )
    if found.expired:
        late = found.expired[0]
        yield Need(
            key="cells:expired",
            name=_many(len(found.expired), "set", "sets")
            + " past its date" * (len(found.expired) == 1)
            + " past their date" * (len(found.expired) > 1),
            url=url or late.item.get_absolute_url(),
            fact=f"What is in {late.item} expired on {day_words(late.lot.expires_on if late.lot else None)}.",
            why="Swap it before a show.",
            mark="turn",
            group="cells between shows",
        )
    if found.expiring:
        lot = found.expiring[0]
        left = lot.left  # type: ignore[attr-defined]
        yield Need(
            key="cells:expiring",
            name=_many(len(found.expiring), "lot of cells expires", "lots of cells expire") + " soon",
            url=url or page("cells"),
            fact=f"{left} × {lot.type} expire on {day_words(lot.expires_on)}.",
            why="Use them first, at rehearsals.",
            mark="turn",
            group="cells between shows",
        )
    if found.capacity:
        due = found.capacity[0]
        when = f"last on {day_words(due.last)}" if due.last else "never yet"
        yield Need(
            key="cells:capacity",
            name=_many(len(found.capacity), "rechargeable set", "rechargeable sets") + " to test",
            url=url or due.item.get_absolute_url(),
            fact=f"{due.item}: capacity tested {when}.",
            why="A discharge test tells when a set no longer covers a show.",
            mark="turn",
            group="cells between shows",
        )


def _many(number: int, one: str, more: str) -> str:
    return f"{number}{' or more' if number == FEW else ''} {one if number == 1 else more}"


def life_entries(item: Item, at: datetime) -> Iterable[LifeEntry]:
    """Swaps, readings and capacity tests of an item."""
    if not may_hold_cells(item.type):
        return
    for swap in counting_swaps().filter(item=item).select_related("type", "lot", "cell_set__type", "person"):
        whence = f" from {lot_words(swap.lot)}" if swap.lot else f": {swap.cell_set}" if swap.cell_set else ""
        did = DID.get(SwapReason(swap.reason)) or ("cells out" if swap.type is None else "new cell" + "s" * (swap.cells > 1))
        what = f"{swap.type}{whence}" if swap.type else ""
        why = SWAP_REASON_WORDS[SwapReason(swap.reason)]
        small = "; ".join(p for p in (what, why, f"by {swap.person}" if swap.person else "", swap.note) if p)
        bad = swap.reason in (SwapReason.DIED, SwapReason.LEAKED)
        yield LifeEntry(at=swap.done_at, did=did, small=small, mark="turn", bad=bad)
    for reading in counting_readings().filter(item=item).select_related("person"):
        load = f" on {reading.load_ohm:g} ohm" if reading.load_ohm else ""
        who = f"by {reading.person}, " if reading.person else ""
        yield LifeEntry(
            at=reading.read_at, did=f"{reading.volts:g} V read{load}", small=f"{who}{clock(reading.read_at)}", mark="turn"
        )
    for test in counting_capacity_tests().filter(item=item).select_related("person"):
        yield LifeEntry(at=test.done_at, did=f"{test.mah:g} mAh measured", small=str(test.person or ""), mark="turn")


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    from company.registries import JOBS, NEEDS
    from inventory.registries import ITEM_API_FIELDS, ITEM_LIFE, SHOPPING
    from maintenance import cell_job
    from maintenance.api_cells import cell_fields
    from maintenance.cell_shopping import shopping
    from maintenance.services.cell_night import JOB_KIND

    NEEDS.add("cells", needs, rank=60)
    SHOPPING.add("cells", shopping, rank=30)
    ITEM_LIFE.add("cells", life_entries, rank=55)
    ITEM_API_FIELDS.add("cells", cell_fields, rank=70)
    JOBS.add(JOB_KIND, cell_job.job_run)
