"""Fill an empty database with a shop of a given size, by bulk inserts: items, labels, shows, checkouts, counted lines."""

import random
import uuid
from datetime import UTC, datetime, timedelta

from company.models import Company, Person
from inventory.calc import codes
from inventory.calc.kinds import KINDS_WITHOUT_STANDING, Kind
from inventory.models import CountedLine, CountMove, GearType, Item, Label, Place
from maintenance.models import BenchTest, CellType, FittedSet, Forecast, ForecastOutcome, Swap, UseLedger
from maintenance.services.cell_night import cells_reckon
from maintenance.services.cell_types import cell_types_load
from maintenance.services.retest import types_reckon
from shows.models import Checkout, CustodyHead, PullRow, Scan, Show, Venue

WORDS = ["red", "blue", "tall", "old", "spare", "north", "south", "quarry", "barn", "chapel"]
ON_LIST = 200  # devices on a swap list
KINDS = [Kind.INTERFACE_BOX, Kind.LEAD, Kind.MICROPHONE, Kind.TRANSMITTER, Kind.STAND, Kind.LOUDSPEAKER]


def fill(items: int, shows: int, at: datetime) -> None:
    """Make `items` items of 40 types and `shows` shows ending around `at`; a fifth of the items are suspect, due, lent or
    missing, and every past show has fifty closed checkouts."""
    pick = random.Random(7)
    company = Company.current()
    company.name, company.set_up_at = "Bench Sound", at
    company.save()
    owner = Person.objects.create_user(username="owner", password=uuid.uuid4().hex, role="owner")
    places = Place.objects.bulk_create(Place(name=f"Shelf {n}", rank=n) for n in range(1, 21))
    Place.objects.bulk_create([Place(name="Bench", sort="bench"), Place(name="Repairer", sort="repairer")])
    types = GearType.objects.bulk_create(
        GearType(
            name=f"{KINDS[n % 6].replace('-', ' ')} type {n}",
            kind=KINDS[n % 6],
            has_standing=KINDS[n % 6] not in KINDS_WITHOUT_STANDING,
        )
        for n in range(40)
    )
    born = at - timedelta(days=900)
    day = at.date()
    made = Item.objects.bulk_create(
        (
            Item(
                code=codes.mint(pick.randrange),
                type=types[n % 40],
                name=f"{WORDS[n % 10]} {n}",
                length_mm=(n % 7) * 1000,
                serial=f"S{n:07d}",
                home=places[n % 20],
                added_at=born,
                tested_on=day - timedelta(days=100) if n % 2 else None,
                test_by=day + timedelta(days=n % 300 - 20) if n % 3 == 0 else None,
                suspect_since=at if n % 17 == 0 else None,
                missing_since=at if n % 19 == 0 else None,
            )
            for n in range(items)
        ),
        batch_size=2000,
    )
    Label.objects.bulk_create(
        (
            Label(code=i.code, item=i, minted_at=born, bound_at=born, printed_at=born if n >= 60 else None)
            for n, i in enumerate(made)
        ),
        batch_size=5000,
    )
    lines = CountedLine.objects.bulk_create(CountedLine(type=types[n % 40], length_mm=n * 10, added_at=born) for n in range(60))
    CountMove.objects.bulk_create(
        CountMove(uid=uuid.uuid4(), line=line, delta=40, why="bought", happened_at=born) for line in lines
    )
    venues = Venue.objects.bulk_create(Venue(name=f"Hall {n}") for n in range(50))
    made_shows = Show.objects.bulk_create(_show(n, shows, at, venues) for n in range(shows))
    PullRow.objects.bulk_create(
        (PullRow(show=s, type=types[r], length_mm=0, count=3, rank=r) for s in made_shows for r in range(15)), batch_size=5000
    )
    _history(pick, made, made_shows, owner, at)
    _bench(pick, at)


def _show(n: int, shows: int, at: datetime, venues: list[Venue]) -> Show:
    # the last ten are still to come, one is under way, the rest are over
    load_in = at + timedelta(days=n - shows + 10, hours=-2)
    return Show(
        name=f"{WORDS[n % 10]} show {n}",
        venue=venues[n % 50],
        hold_from=load_in.date(),
        load_in=load_in,
        line_check=load_in + timedelta(hours=2),
        start=load_in + timedelta(hours=4),
        end=load_in + timedelta(hours=7),
        strike=load_in + timedelta(hours=8),
        home_by=load_in + timedelta(hours=10),
        hold_until=(load_in + timedelta(hours=10)).date(),
        added_at=load_in - timedelta(days=30),
    )


def _history(pick: random.Random, items: list[Item], shows: list[Show], owner: Person, at: datetime) -> None:
    scans, checkouts = [], []
    per_show = min(50, len(items) // 4)
    for show in shows:
        if show.home_by > at:
            continue
        for item in pick.sample(items, per_show):
            out, back = uuid.UUID(int=pick.getrandbits(128)), uuid.UUID(int=pick.getrandbits(128))
            scans += [_scan(out, item, "out", show, show.load_in, owner), _scan(back, item, "back", None, show.home_by, owner)]
            checkouts.append(
                Checkout(
                    item=item,
                    show=show,
                    opened_uid=out,
                    opened_at=show.load_in,
                    evidence="seen",
                    closed_uid=back,
                    closed_at=show.home_by,
                    closed_evidence="seen",
                    ended="back",
                )
            )
    Scan.objects.bulk_create(scans, batch_size=2000)
    Checkout.objects.bulk_create(checkouts, batch_size=2000)
    newest = {}
    for scan in scans:
        newest[scan.code] = scan
    CustodyHead.objects.bulk_create((_head(item, newest.get(item.code)) for item in items), batch_size=5000)


def _bench(pick: random.Random, at: datetime) -> None:
    """Test what was tested, reckon all of it as the night does, and leave some thousands of forecasts, half of them told."""
    tests = BenchTest.objects.bulk_create(
        (
            BenchTest(
                uid=uuid.UUID(int=pick.getrandbits(128), version=4),
                item_id=pk,
                procedure="word",
                depth="ohms",
                done_at=done_at,
                received_at=done_at,
                verdict="fail" if pick.random() < 0.04 else "pass",
            )
            for pk in Item.objects.filter(tested_on__isnull=False).order_by("pk").values_list("pk", flat=True)
            for done_at in (at - timedelta(days=400), at - timedelta(days=100))
        ),
        batch_size=2000,
    )
    UseLedger.objects.bulk_create(
        (
            UseLedger(item_id=item, occasion=f"show:{show}", day=opened_at.date(), state="done", basis="line")
            for item, show, opened_at in Checkout.objects.order_by("pk").values_list("item", "show", "opened_at")
        ),
        batch_size=2000,
        ignore_conflicts=True,
    )
    types_reckon(at=at)
    few = tests[: min(len(tests) // 4, 8000)]
    forecasts = Forecast.objects.bulk_create(
        (
            Forecast(
                item_id=t.item_id, test=t, made_at=t.done_at, shows=5 + n % 20, test_by=at.date(), chance=0.01 + n % 9 / 100
            )
            for n, t in enumerate(few)
            if t.verdict == "pass"
        ),
        batch_size=1000,
    )
    ForecastOutcome.objects.bulk_create(
        (
            ForecastOutcome(
                forecast=f,
                resolved_at=at - timedelta(days=1),
                shows=f.shows,
                chance=f.chance,
                failed=pick.random() < f.chance,
                how="bench",
            )
            for f in forecasts[::2]
        ),
        batch_size=1000,
    )


def _head(item: Item, last: Scan | None) -> CustodyHead:
    if last is None:
        return CustodyHead(item=item)
    return CustodyHead(
        item=item,
        last_effective_at=last.effective_at,
        last_device=last.device,
        last_seq=last.seq,
        last_uid=last.uid,
        seen_at=last.effective_at,
        evidence="seen",
        folds=1,
    )


def _scan(uid: uuid.UUID, item: Item, action: str, show: Show | None, at: datetime, owner: Person) -> Scan:
    return Scan(
        uid=uid,
        batch=uid,
        device="bench",
        code_text=item.code,
        code=item.code,
        action=action,
        show=show,
        happened_at=at,
        received_at=at,
        effective_at=at,
        actor=owner,
        outcome="accepted",
        signal="fine",
    )


def an_instant() -> datetime:
    """Return now, to the minute: the pages measured read the clock themselves."""
    return datetime.now(UTC).replace(second=0, microsecond=0)


def powered_items(show: Show, at: datetime) -> Item:
    """Make active boxes with a 9 V cell each, 2 in 100 of all items and at least ON_LIST of them, that many named on a show's
    list; answer one. What is left in them is worked out as by night."""
    cell_types_load()
    cell = CellType.objects.get(key="6LR61")
    type_ = GearType.objects.create(name="Powered box", kind=Kind.INTERFACE_BOX, bays=1, cell_size="6LR61", has_standing=True)
    pick, fitted_at = random.Random(8), at - timedelta(days=40)
    boxes = Item.objects.bulk_create(
        (
            Item(code=codes.mint(pick.randrange), type=type_, name=str(n), added_at=fitted_at)
            for n in range(max(ON_LIST, Item.objects.count() // 50))
        ),
        batch_size=2000,
    )
    made = Swap.objects.bulk_create(
        (
            Swap(uid=uuid.uuid4(), item=box, type=cell, was_new=True, reason="first", done_at=fitted_at, received_at=fitted_at)
            for box in boxes
        ),
        batch_size=2000,
    )
    FittedSet.objects.bulk_create(
        (FittedSet(item_id=s.item_id, opened_uid=s.uid, type=cell, was_new=True, fitted_at=fitted_at) for s in made),
        batch_size=2000,
    )
    PullRow.objects.bulk_create(
        PullRow(show=show, type=type_, item=box, rank=100 + n, line=str(n + 1), feed="cells")
        for n, box in enumerate(boxes[:ON_LIST])
    )
    cells_reckon(at=at)
    return boxes[0]
