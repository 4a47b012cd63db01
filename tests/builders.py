"""Builders with safe defaults: `make_item(name="B")`. Every test names only what it is about."""

import itertools
import uuid
from datetime import UTC, date, datetime, timedelta
from typing import Any

from auditlog.context import disable_auditlog

from company.models import Company, Person
from inventory.calc import codes
from inventory.calc.kinds import KINDS_WITHOUT_STANDING, Kind
from inventory.models import (
    CountedLine,
    CountMove,
    GearType,
    InterfaceBoxFacts,
    Item,
    Label,
    LeadFacts,
    MulticoreFacts,
    Place,
)
from maintenance.models import CellLot, CellMove, CellType, UseLedger, Wiring
from shows.models import Checkout, PullRow, Show, SourceType, Venue

NOW = datetime(2026, 9, 25, 9, 0, tzinfo=UTC)
_count = itertools.count(1)
unaudited = disable_auditlog()  # what was there before the test began is in no change log: writing it takes a quarter of a test


def audited(make: Any) -> Any:
    """Return a builder that is in the change log, for a test of that."""
    return make.__wrapped__


@unaudited
def make_company(**kw: Any) -> Company:
    """Return the company set up in London, so that no page asks the five questions."""
    company = Company.current()
    for name, value in {"name": "Test Sound", "set_up_at": NOW, **kw}.items():
        setattr(company, name, value)
    company.save()
    return company


@unaudited
def make_person(role: str = "technician", **kw: Any) -> Person:
    kw.setdefault("username", f"{role}{next(_count)}")
    return Person.objects.create_user(password=kw.pop("password", "saltmarsh"), role=role, **kw)


@unaudited
def make_type(kind: Kind | str = Kind.INTERFACE_BOX, **kw: Any) -> GearType:
    kw.setdefault("name", f"{kind} {next(_count)}")
    return GearType.objects.create(kind=kind, has_standing=Kind(kind) not in KINDS_WITHOUT_STANDING, **kw)


@unaudited
def make_item(**kw: Any) -> Item:
    """Make an item with a bound label of the same code."""
    kw.setdefault("type", None)
    if kw["type"] is None:
        kw["type"] = make_type(kw.pop("kind", Kind.INTERFACE_BOX))
    kw.setdefault("code", codes.mint())
    kw.setdefault("added_at", NOW - timedelta(days=400))
    item = Item.objects.create(**kw)
    Label.objects.create(code=item.code, item=item, minted_at=item.added_at, bound_at=item.added_at)
    return item


@unaudited
def make_case(**kw: Any) -> Item:
    return make_item(kind=Kind.CASE, **kw)


@unaudited
def make_place(**kw: Any) -> Place:
    kw.setdefault("name", f"Shelf {next(_count)}")
    return Place.objects.create(**kw)


@unaudited
def make_venue(**kw: Any) -> Venue:
    kw.setdefault("name", f"Hall {next(_count)}")
    return Venue.objects.create(**kw)


@unaudited
def make_show(load_in: datetime = NOW + timedelta(hours=8), hours: float = 8, **kw: Any) -> Show:
    """Make a show that loads in at an instant and is home `hours` later."""
    step = timedelta(hours=hours / 8)
    times: dict[str, Any] = {
        "hold_from": load_in.date(),
        "load_in": load_in,
        "line_check": load_in + step,
        "start": load_in + 2 * step,
        "end": load_in + 5 * step,
        "strike": load_in + 6 * step,
        "home_by": load_in + 8 * step,
        "hold_until": (load_in + 8 * step).date(),
        "added_at": NOW - timedelta(days=30),
    }
    return Show.objects.create(**{"name": f"Show {next(_count)}", **times, **kw})


@unaudited
def make_source(key: str = "voice", **kw: Any) -> SourceType:
    """Make a kind of source: a voice by microphone unless said otherwise."""
    return SourceType.objects.create(
        key=key, **{"name": key.capitalize(), "family": "voice", "way": "acoustic", "also": "vox, vocal", **kw}
    )


@unaudited
def make_pull_row(show: Show, **kw: Any) -> PullRow:
    if kw.get("item") is not None:
        kw.setdefault("type", kw["item"].type)
        kw.setdefault("length_mm", kw["item"].length_mm)
    if kw.get("type") is None:
        kw["type"] = make_type()
    return PullRow.objects.create(show=show, **kw)


@unaudited
def make_counted_line(owned: int = 24, **kw: Any) -> CountedLine:
    """Make a counted line with `owned` good ones on the shelf."""
    if kw.get("type") is None:
        kw["type"] = make_type(Kind.LEAD)
    kw.setdefault("added_at", NOW - timedelta(days=400))
    line = CountedLine.objects.create(**kw)
    if owned:
        CountMove.objects.create(uid=uuid.uuid4(), line=line, delta=owned, why=CountMove.Why.BOUGHT, happened_at=line.added_at)
    return line


@unaudited
def make_checkout(show: Show, item: Item, *, at: datetime = NOW - timedelta(hours=20), **kw: Any) -> Checkout:
    """Write a checkout as the fold would, with the item's custody in step."""
    kw.setdefault("evidence", "seen")
    made = Checkout.objects.create(item=item, show=show, opened_uid=uuid.uuid4(), opened_at=at, **kw)
    if made.closed_at is None:
        custody = "truck" if made.truck_at else "show"
        Item.objects.filter(pk=item.pk).update(custody=custody, custody_show=show.pk, custody_since=at)
    return made


def a_day(offset: int = 0) -> date:
    return (NOW + timedelta(days=offset)).date()


@unaudited
def make_wiring(key: str = "three-pin", **kw: Any) -> Wiring:
    """Make a wiring, or find it: a three-pin lead's unless ends and nets are given."""
    given = {
        "name": key,
        "ends": "A: three-pin socket: 1 2 3 sh\nB: three-pin plug: 1 2 3 sh",
        "nets": "A1=B1 screen | A2=B2 hot | A3=B3 cold",
        **kw,
    }
    return Wiring.objects.get_or_create(key=key, defaults=given)[0]


@unaudited
def make_lead(**kw: Any) -> Item:
    """Make a microphone lead of 10 m with its wiring and gauge."""
    if kw.get("type") is None:
        kw["type"] = make_type(Kind.LEAD)
        facts = {"wiring": make_wiring().key, "core_mm2": 0.22, "screen_mohm_per_m": 30.0, **kw.pop("facts", {})}
        LeadFacts.objects.create(type=kw["type"], **facts)
    return make_item(**{"length_mm": 10_000, **kw})


@unaudited
def make_multicore(sends: int = 24, **kw: Any) -> Item:
    """Make a multicore of 30 m with its wiring, which is that of one channel."""
    if kw.get("type") is None:
        kw["type"] = make_type(Kind.MULTICORE)
        wiring = make_wiring(
            "multicore",
            per_channel=True,
            ends="A: three-pin socket: 1 2 3\nB: three-pin plug: 1 2 3",
        )
        MulticoreFacts.objects.create(
            type=kw["type"], wiring=wiring.key, sends=sends, returns=kw.pop("returns", 0), core_mm2=0.22, screen_mohm_per_m=30.0
        )
    return make_item(**{"length_mm": 30_000, **kw})


@unaudited
def make_cell_type(key: str = "6LR61", **kw: Any) -> CellType:
    """Make a shipped type of cells, or find it; `kw` changes its figures."""
    from maintenance.services.cell_types import shipped

    entry = next((one for one in shipped()["types"] if one["key"] == key), {"key": key, "name": key})
    made, fresh = CellType.objects.get_or_create(key=key, defaults={**entry, "shipped": True, **kw})
    if kw and not fresh:
        CellType.objects.filter(pk=made.pk).update(**kw)
        made.refresh_from_db()
    return made


@unaudited
def make_lot(count: int = 24, type: CellType | str = "6LR61", **kw: Any) -> CellLot:
    """Make a lot of so many cells, bought two months ago."""
    kw.setdefault("added_at", NOW - timedelta(days=60))
    kw.setdefault("bought_on", kw["added_at"].date())
    lot = CellLot.objects.create(type=make_cell_type(type) if isinstance(type, str) else type, **kw)
    if count:
        CellMove.objects.create(uid=uuid.uuid4(), lot=lot, delta=count, why=CellMove.Why.BOUGHT, at=lot.added_at)
    return lot


@unaudited
def make_box(**kw: Any) -> Item:
    """Make an active direct box with a bay for a 9 V cell, as the catalogue has it."""
    if kw.get("type") is None:
        make_cell_type()
        kw["type"] = make_type(Kind.INTERFACE_BOX, bays=1, cell_size="6LR61")
        facts = {"active": True, "runs_on_cells": True, "draw_ma": 4.5, "least_supply_v": 6.0, **kw.pop("facts", {})}
        InterfaceBoxFacts.objects.create(type=kw["type"], **facts)
    return make_item(**kw)


@unaudited
def fit_cells(item: Item, *, at: datetime = NOW - timedelta(days=30), lot: CellLot | None = None, **kw: Any) -> Any:
    """Fit a fresh set in a bay by the service, from a lot or of the cell its type names; answers what it did."""
    from maintenance.services.cells import swap_record

    if lot is None and "type" not in kw and "cell_set" not in kw:
        kw["type"] = make_cell_type(item.type.cell_size or "6LR61")
    given = {"uid": uuid.uuid4(), "item": item, "lot": lot, "person": None, "done_at": at, "received_at": max(at, NOW), **kw}
    return swap_record(**given)


@unaudited
def use_on_cells(item: Item, hours: float, *, day: date, occasion: str | None = None, **kw: Any) -> UseLedger:
    """Write a row of the use ledger: so many hours on a line, fed by cells, from six in the evening on."""
    name = occasion or f"other:{next(_count)}"
    given = {"state": "done", "on_minutes": round(hours * 60), "fed_by": "cells", "basis": "line", **kw}
    return UseLedger.objects.create(item=item, occasion=name, day=day, **given)
