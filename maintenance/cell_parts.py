"""What a device's page says of its cells: tape, curve, what can be done; and the word in the navigation."""

import uuid
from collections.abc import Iterable
from datetime import datetime

from django.http import HttpRequest
from django.urls import reverse

from company.calc.roles import Role
from inventory.calc.kinds import Kind
from inventory.models import Item
from inventory.registries import ItemAction, Panel
from maintenance.cell_device import bays_of, shown_of
from maintenance.cell_tape import notches
from maintenance.services.cell_types import may_hold_cells, plan_of

SHEETS = ("maintenance/vendor/uplot/uPlot.min.css", "maintenance/cells.css")
MODULES = ("maintenance/cells.js",)


def panel_cells(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Say what is in a device, how long it lasts against what its next show needs, and draw its curve."""
    if not _powered(item):
        return None
    bays = bays_of(item, at)
    if not bays:
        return None
    shown = shown_of(item, at)
    return Panel(
        title="Its pack"
        if shown.pack
        else "Its cells"
        if sum(row.state.plan.cells_a_bay for row in shown.rows) > 1
        else "Its cell",
        template="maintenance/cells/_panel.html",
        context={
            "bays": bays,
            "notches": notches(shown.axis),
            "shown": shown,
            "uid": uuid.uuid4(),
            "data_url": reverse("item-cells-chart", args=[item.code]),
            "cells_url": reverse("item-cells", args=[item.code]),
        },
        styles=SHEETS,
        modules=MODULES if any(bay.left for bay in bays) else (),
    )


def actions_of_cells(request: HttpRequest, item: Item) -> Iterable[ItemAction]:
    """Offer a swap, a reading, hours; of a labelled set its capacity test."""
    if item.retired_on or item.gone_home_on:
        return
    if item.type.kind == Kind.CELL_SET:
        yield ItemAction(name="Note a capacity test", url=reverse("cell-set-test", args=[item.code]))
        return
    if not _powered(item):
        return
    if not item.type.bays:
        yield ItemAction(name="Its pack", url=reverse("item-cells", args=[item.code]))
        return
    yield ItemAction(name="Swap cells", url=reverse("item-swap", args=[item.code]))
    yield ItemAction(name="Log a reading", url=reverse("item-reading", args=[item.code]))
    yield ItemAction(name="Log hours", url=reverse("item-hours", args=[item.code]), role=Role.TECHNICIAN)


def _powered(item: Item) -> bool:
    if item.type.kind == Kind.CELL_SET or not may_hold_cells(item.type):
        return False
    return bool(item.type.bays or plan_of([item.type])[item.type_id].full_charge_h)


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    from company.registries import NAV, NavEntry
    from inventory.registries import ITEM_ACTIONS, ITEM_PANELS

    NAV.add("cells", lambda: NavEntry(name="Cells", url_name="cells", section="Cells"), rank=70)
    ITEM_PANELS.add("cells", panel_cells, rank=8)
    ITEM_ACTIONS.add("cells", actions_of_cells, rank=22)
