"""What cells ask of a person before a show: the swap list while something on it is left to do."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.http import HttpRequest
from django.urls import reverse

from company.registries import Need
from maintenance.cell_needs import Listed, lists_of
from maintenance.registries import coming_needs

BEFORE = timedelta(hours=36)  # the night before load-in and the day of it


@dataclass(frozen=True, kw_only=True)
class SwapsLeft:
    """A show's list with something left to do on it: what in words, and why the first of it."""

    found: Listed
    words: str
    why: str


def swaps_left(at: datetime, until: datetime) -> list[SwapsLeft]:
    """Return the shows that are not over and load in by an instant, whose swap or charge list is not worked yet."""
    shows = [show for show in coming_needs(at, until) if show.needs]
    return [_left(found) for found in (lists_of(shows, at) if shows else []) if found.swaps or found.charges]


def _left(found: Listed) -> SwapsLeft:
    swaps, charges = len(found.swaps), len(found.charges)
    words = " and ".join(
        part
        for part in (
            f"swap {swaps} {'set' if swaps == 1 else 'sets'}" if swaps else "",
            f"charge {charges} {'thing' if charges == 1 else 'things'}" if charges else "",
        )
        if part
    )
    first = (found.swaps or found.charges)[0]
    buy = [f"{one.buy} × {one.name}" for one in found.found.carry if one.buy]
    short = f" Buy {', '.join(buy)} first." if buy else ""
    return SwapsLeft(found=found, words=words, why=f"{first.advised.device.name}: {first.advised.why.rstrip('.')}.{short}")


def swaps_before_shows(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the shows that load in soon whose swap or charge list is not worked yet."""
    for left in swaps_left(at, at + BEFORE):
        show = left.found.needs
        yield Need(
            key=f"swap:{show.key}",
            name=left.words[0].upper() + left.words[1:],
            code=show.name,
            url=reverse("swap-list", args=[show.key]),
            fact=f"{len(left.found.done)} of {left.found.total} done.",
            why=left.why,
            by=show.load_in,
            mark="hourglass",
            group="cells",
        )


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    from company.registries import NEEDS
    from inventory.registries import ITEM_PANELS
    from maintenance import cells_back

    NEEDS.add("swaps", swaps_before_shows, rank=25)
    ITEM_PANELS.add("cells back", cells_back.panel, rank=35)
