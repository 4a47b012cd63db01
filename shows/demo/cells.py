"""The demo's cells: a year of sessions whose boxes and packs ran on cells that lived and died as the model says they may.

What a device truly draws is drawn once for it, and how long a set truly lasts once for each set, from a seed of their own: the
record does not know them, it only sees what happened.
"""

import random
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from math import exp, log
from typing import Any

from company.clock import today
from inventory.models import Item
from maintenance.calc import cells
from maintenance.calc.cell_forecast import fresh_life
from maintenance.calc.cell_life import usual_ma
from maintenance.calc.cell_words import CellKind, Draw, Pool, SwapReason
from maintenance.cell_evidence import guess_of
from maintenance.cell_querysets import lots_counted
from maintenance.models import CellForecast, CellLot, CellPlan, CellType, HoursNote
from maintenance.services.cell_forecasts import outcomes_resolve, swap_list_freeze
from maintenance.services.cell_night import cells_reckon
from maintenance.services.cell_swaps import oldest_lot
from maintenance.services.cell_types import kind_of, plan_of
from maintenance.services.cells import capacity_test_record, charge_record, hours_note, lot_add, reading_record, swap_record
from shows.calc.times import running_time, show_times
from shows.demo.history import SAM, scan_told, scans_send
from shows.demo.stock import Cast
from shows.models import PullRow, Show, Venue
from shows.services.shows import show_add, show_close

HOUR = timedelta(hours=1)
LEARNING = 0.45  # of the time somebody takes the list's word in its first months; later always
SAME_MAKE = 0.10  # spread of what fresh cells of one make hold, as the model has it


@dataclass(kw_only=True)
class Device:
    """A device as it truly is: its draw, and the set that is in it."""

    item: Item
    plan: CellPlan
    kind: CellKind
    draw: Draw
    lasts: float = 0.0  # hours, of the set that is in it
    ends: float = 1.0  # depth of discharge at which it stops
    ran: float = 0.0
    sets: int = 0

    def fitted(self, dice: random.Random) -> None:
        """Put a fresh set in: how long it lasts is drawn here."""
        new = fresh_life(self.kind, self.draw, n_cells=self.plan.cells_a_bay)
        self.lasts, self.ends = exp(new.mean + dice.gauss(0, SAME_MAKE)), new.end_depth
        self.ran = 0.0
        self.sets += 1

    def volts(self, dice: random.Random) -> float:
        """Return what a meter shows of the set while the device is on."""
        depth = min(self.ran / self.lasts, 1.0) * self.ends
        ma = usual_ma(cells.table_of(self.kind), exp(self.draw.mean_ln), self.draw.load, self.draw.in_series)
        read = cells.volts(self.kind, depth, ma, self.draw.in_series) + dice.gauss(0, self.kind.sigma_v)
        return round(min(read, self.kind.fresh_most_v * self.draw.in_series), 2)


@dataclass(kw_only=True)
class Year:
    """The year's lots still to be bought, its devices, and the dice of their truth."""

    cast: Cast
    dice: random.Random
    lots: list[dict[str, Any]]
    devices: dict[str, list[Device]] = field(default_factory=dict)

    def buy(self, until: datetime) -> None:
        """Buy the lots whose day has come."""
        while self.lots and (at := self.cast.ago(self.lots[0]["days"])) <= until:
            told = self.lots.pop(0)
            lot_add(
                uid=self.cast.uid(),
                type=CellType.objects.get(key=told["type"]),
                count=told["count"],
                at=at,
                person=self.cast.people["owner"],
                bought_on=today(at),
                price_cents=told["price_cents"],
                expires_on=today(self.cast.at) + timedelta(days=told["expires"]),
                make=told["make"],
                place=self.cast.places["Shelf 4, wireless"],
            )

    def swap(self, device: Device, reason: SwapReason, at: datetime, show: Show | None = None, **more: Any) -> None:
        """Fit a fresh set from the oldest lot."""
        swap_record(
            uid=self.cast.uid(),
            item=device.item,
            lot=oldest_lot(device.item, 1, at),
            reason=reason if device.sets else SwapReason.FIRST,
            done_at=at,
            received_at=at,
            person=self.cast.people["technician" if reason != SwapReason.DIED else "hand"],
            show=show.pk if show else None,
            anyway=True,
            **more,
        )
        device.fitted(self.dice)


def year_play(*, cast: Cast, told: dict[str, Any]) -> None:
    """Play a year of sessions, before the shows the demo tells of: each with its list, its swaps, its deaths, its outcomes."""
    told = told["cells"]
    dice = random.Random(told["draws"]["seed"])  # noqa: S311 (the same year every time is the point)
    year = Year(cast=replace(cast, dice=random.Random(told["draws"]["seed"])), dice=dice, lots=list(told["lots"]))  # noqa: S311
    wanted = {"active-box": told["sessions"]["boxes"], **told["sessions"]["wireless"]}
    for key, count in wanted.items():
        year.devices[key] = [_device(year, item, told["draws"], n) for n, item in enumerate(_oldest(year.cast, key, count))]
    shows = []
    days, number = told["sessions"]["from"], 0
    while days >= told["sessions"]["last"]:
        shows.append(_session(year, told["sessions"], days, number))
        days, number = days - told["sessions"]["every"], number + 1
    year.buy(cast.at)
    outcomes_resolve(at=cast.at, shows=[show.pk for show in shows])


def _oldest(cast: Cast, key: str, count: int) -> list[Item]:
    return list(Item.objects.filter(type__key=key).select_related("type").order_by("bought_on", "pk")[:count])


def _device(year: Year, item: Item, draws: dict[str, Any], number: int) -> Device:
    plan = plan_of([item.type])[item.type_id]
    guess = guess_of(plan)
    if isinstance(guess, str):
        raise ValueError(guess)
    off = year.dice.gauss(0, draws["spread"])
    if number == draws["off"] and item.type.key == "active-box":
        off = log(draws["off_times"])
    kind = kind_of(CellType.objects.get(key=item.type.cell_size))
    return Device(item=item, plan=plan, kind=kind, draw=replace(guess, mean_ln=guess.mean_ln + off))


def _session(year: Year, told: dict[str, Any], days: float, number: int) -> Show:
    """Play one evening: pack, freeze the list, swap, play, come home."""
    cast = year.cast
    name, client, venue = told["names"][number % len(told["names"])]

    def at(clock: str) -> datetime:
        hour, minute = clock.split(":")
        return cast.ago(days, int(hour)).replace(minute=int(minute))

    short = number % told["wireless_every"] == 0
    start = at(told["short_start"] if short else told["start"])
    times = show_times(
        zone=cast.company.zone,
        load_in=start - 3 * HOUR,
        start=start,
        end=at(told["end"]),
        home_by=at(told["home_by"]),
    )
    show = show_add(
        name=name,
        client=client,
        venue=Venue.objects.get(name=venue),
        times=times,
        notes="",
        at=times.load_in - timedelta(days=20),
    )
    going = list(year.devices["active-box"])
    if short:
        going += [device for key in told["wireless"] for device in year.devices[key]]
    # inserted as a rig's rows are: nothing is out yet, and the scans bring the ledger in step
    PullRow.objects.bulk_create(
        PullRow(
            show=show,
            type=device.item.type,
            item=device.item,
            rank=line,
            line=str(line),
            feed="cells",
            critical="critical" if line == 1 else "normal",
            reason="no phantom there",
        )
        for line, device in enumerate(going, 1)
    )
    _list_work(year, show, going, number)
    _scanned(cast, show, going, "out", show.load_in - timedelta(minutes=50))
    hours = running_time(show.line_check, show.end, cast.company.zone) / HOUR
    for device in going:
        _run(year, device, show, hours)
    _scanned(cast, show, going, "back", show.home_by - timedelta(minutes=15))
    show_close(show=show, uid=cast.uid(), person=cast.people["owner"], at=show.home_by + timedelta(hours=12))
    if number % 3 == 1:
        _read(year, going[number % len(year.devices["active-box"])], show.line_check + timedelta(hours=1))
    return show


def _scanned(cast: Cast, show: Show, going: Iterable[Device], action: str, at: datetime) -> None:
    """Scan what goes, or what comes back, one after the other."""
    of = show if action == "out" else None
    scans = [scan_told(cast, of, d.item.code, action, at + n * timedelta(seconds=9)) for n, d in enumerate(going)]
    scans_send(cast, "hand", SAM, scans)


def _list_work(year: Year, show: Show, going: Iterable[Device], number: int) -> None:
    """Store the list, do what it says as far as people do, and store what is news."""
    first, again = show.load_in - timedelta(hours=3), show.load_in - timedelta(hours=1)
    year.buy(first)
    for device in going:
        if not device.sets:
            year.swap(device, SwapReason.FIRST, first - timedelta(minutes=30))
    swap_list_freeze(show=show.pk, at=first, person=year.cast.people["technician"])
    said = dict(CellForecast.objects.filter(show=show.pk).values_list("item", "said"))
    swapped = 0
    for device in going:
        if said.get(device.item.pk) != "swap" or device.ran == 0:
            continue
        policy = device.plan.fresh_every_show
        if policy or number > 12 or year.dice.random() < LEARNING:
            volts = None if policy else device.volts(year.dice)
            good = volts is not None and volts >= 7.5
            year.swap(
                device,
                SwapReason.POLICY if policy else SwapReason.PRECAUTION,
                again - timedelta(minutes=40),
                show,
                out_volts=volts,
                out_to=Pool.REHEARSAL if good else Pool.RECYCLE,
            )
            swapped += 1
    if swapped:
        swap_list_freeze(show=show.pk, at=again, person=year.cast.people["technician"])


def _run(year: Year, device: Device, show: Show, hours: float) -> None:
    """Let a device run through a show; where its set ends on the way, somebody swaps it then."""
    left = device.lasts - device.ran
    if left > hours:
        device.ran += hours
        return
    year.swap(device, SwapReason.DIED, show.line_check + max(left, 0.05) * HOUR, show)
    device.ran = hours - left


def _read(year: Year, device: Device, at: datetime) -> None:
    reading_record(
        uid=year.cast.uid(),
        item=device.item,
        volts=device.volts(year.dice),
        minutes_off=0,
        read_at=at,
        received_at=at,
        person=year.cast.people["technician"],
    )


def tonight_make(*, cast: Cast, told: dict[str, Any]) -> None:
    """Leave cells as a shop has them of an evening: fresh and old, charged, leaked, and some nobody knows of."""
    cast = replace(cast, dice=random.Random(told["cells"]["draws"]["seed"] + 1))  # noqa: S311
    show, now = Show.objects.get(name="Harvest ceilidh"), min(cast.at, cast.at.replace(second=0, microsecond=0))
    free = Item.objects.fit_to_go(today(cast.at)).filter(in_case=None, custody="").select_related("type").order_by("name", "pk")
    boxes, packs = list(free.filter(type__key="active-box-piezo")[:2]), list(free.filter(type__key="rx-in-ear")[:2])
    hands = list(free.filter(type__key="tx-handheld")[:3])
    sets = list(Item.objects.filter(type__key="cell-set-aa").select_related("type").order_by("name", "pk"))
    morning = now - timedelta(hours=3)

    for box, days, hours in zip(boxes, (61, 33), told["cells"]["tonight_hours"], strict=True):
        _fit(cast, box, cast.ago(days))
        _told_hours(cast, box, HoursNote.Why.LOGGED, hours, cast.ago(12))
    lithium = CellLot.objects.filter(type__key="FR6").order_by("pk")[0]
    _fit(cast, hands[0], morning, reason=SwapReason.POLICY, show=show, lot=lithium)
    _sets_of_cells(cast, sets)
    _fit(cast, packs[0], morning, cell_set=sets[0], show=show)
    _fit(cast, packs[1], morning + timedelta(minutes=4), lot=lithium, show=show)
    going = [*boxes, *hands, *packs]
    PullRow.objects.bulk_create(
        PullRow(
            show=show,
            type=item.type,
            item=item,
            rank=900 + n,
            line=str(20 + n),
            feed="cells",
            reason="no phantom there",
            critical="critical" if item == boxes[0] else "normal",
        )
        for n, item in enumerate(going)
    )
    packed = now - timedelta(minutes=30)
    scans = [scan_told(cast, show, item.code, "out", packed + n * timedelta(seconds=9)) for n, item in enumerate(going)]
    scans_send(cast, "hand", SAM, scans)

    tester = Item.objects.filter(type__key="tester-lead").select_related("type")[0]
    _fit(cast, tester, cast.ago(199))
    _fit(cast, tester, cast.ago(22), reason=SwapReason.LEAKED)
    jack = Item.objects.filter(type__key="active-box", fitted_sets__removed_at=None, custody="").select_related("type").first()
    if jack is not None:
        _told_hours(cast, jack, HoursNote.Why.LEFT_IN, 9.5, cast.ago(5, 8))
    cells_reckon(at=cast.at)


def _fit(
    cast: Cast, item: Item, at: datetime, *, reason: SwapReason = SwapReason.FIRST, show: Show | None = None, **more: Any
) -> None:
    if "cell_set" not in more and "lot" not in more:
        lots = CellLot.objects.filter(type__key=item.type.cell_size, pool=Pool.NEW, bought_on__lte=today(at))
        more["lot"] = lots_counted(lots).filter(left__gte=2).order_by("bought_on", "pk")[0]
    swap_record(
        uid=cast.uid(),
        item=item,
        reason=reason,
        done_at=at,
        received_at=at,
        person=cast.people["technician"],
        show=show.pk if show else None,
        anyway=True,
        **more,
    )


def _told_hours(cast: Cast, item: Item, why: HoursNote.Why, hours: float, at: datetime) -> None:
    hours_note(
        uid=cast.uid(), item=item, why=why, minutes=round(hours * 60), at=at, received_at=at, person=cast.people["technician"]
    )


def _sets_of_cells(cast: Cast, sets: list[Item]) -> None:
    """Charge the labelled sets, and measure two: one holds, one fades from test to test. The others were never measured."""
    for item, measured in zip(sets[:2], (((198, 1890), (20, 1850)), ((198, 1700), (104, 1420), (20, 1090))), strict=True):
        for days, mah in measured:
            capacity_test_record(
                uid=cast.uid(),
                item=item,
                mah=mah,
                rate_ma=400,
                done_at=cast.ago(days),
                received_at=cast.ago(days),
                person=cast.people["technician"],
            )
    for item in sets[:2]:
        for days in (62, 21, 2):
            charge_record(
                uid=cast.uid(), item=item, at=cast.ago(days, 20), received_at=cast.ago(days, 20), person=cast.people["hand"]
            )
