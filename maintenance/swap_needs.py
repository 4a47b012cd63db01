"""What cells ask of a person before a show: the swap list while something on it is left to do."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.http import HttpRequest
from django.urls import reverse

from company.registries import Need
from maintenance.cell_needs import Listed, lists_of
from maintenance.registries import coming_needs

BEFORE = timedelta(hours=36)  # the night before load-in and the day of it


def swaps_before_shows(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the shows that load in soon whose swap or charge list is not worked yet."""
    shows = [show for show in coming_needs(at, at + BEFORE) if show.needs]
    for found in lists_of(shows, at) if shows else []:
        if found.swaps or found.charges:
            yield _need(found)


def _need(found: Listed) -> Need:
    show, swaps, charges = found.needs, len(found.swaps), len(found.charges)
    name = " and ".join(
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
    return Need(
        key=f"swap:{show.key}",
        name=name[0].upper() + name[1:],
        code=show.name,
        url=reverse("swap-list", args=[show.key]),
        fact=f"{len(found.done)} of {found.total} done.",
        why=f"{first.advised.device.name}: {first.advised.why.rstrip('.')}.{short}",
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
