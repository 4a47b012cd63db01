"""What people tell of cells beside swaps: readings, charges, capacity tests. Once a uid; a mistake is taken back."""

import uuid as uuids
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from math import exp, isfinite

from django.db import IntegrityError, transaction

from company.clock import today
from company.models import Person
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc import cells
from maintenance.calc.cell_doubt import Read as DoubtRead
from maintenance.calc.cell_doubt import doubt_words, doubted
from maintenance.calc.cell_forecast import Trend, capacity_trend
from maintenance.calc.cell_life import usual_ma
from maintenance.calc.cell_words import CellError, CellKind, Draw, Life
from maintenance.cell_evidence import Told, evidence_of, explained
from maintenance.cell_querysets import counting_capacity_tests, counting_readings
from maintenance.models import CapacityTest, CellReading, CellType, Charge, FittedSet
from maintenance.services.bench_judging import CLOCKS_DIFFER
from maintenance.services.cell_checks import nothing_words, set_at
from maintenance.services.cell_reckon import item_cells_reckon
from maintenance.services.cell_refused import CellRefused
from maintenance.services.cell_types import kind_of, plan_of, sets_of

LONGEST_OFF = 1e6


@dataclass(frozen=True, kw_only=True)
class Read:
    """What a reading says: charge left (share, with its spread) where it can be told, the set's life, sentences."""

    reading: CellReading
    again: bool
    left: float | None
    left_sigma: float | None
    life: Life | None
    words: list[str] = field(default_factory=list)


def reading_record(
    *,
    uid: uuids.UUID,
    item: Item,
    bay: int = 1,
    volts: float,
    load_ohm: float | None = None,
    minutes_off: float | None = None,
    read_at: datetime,
    received_at: datetime,
    person: Person | None,
    anyway: bool = False,
) -> Read:
    """Note volts read at the whole set of a bay, once a uid. `minutes_off` 0 with no test load: read while the device was on.

    `anyway`: a person insists on what is doubted, such as 0 V.

    Raises CellRefused with a field and a sentence: 12 V from a 9 V cell, millivolts, a bay that is not there, a date to come.
    """
    for attempt in (1, 2):
        try:
            with transaction.atomic():
                return _read(uid, item, bay, volts, load_ohm, minutes_off, read_at, received_at, person, anyway)
        except IntegrityError:
            if attempt == 2:
                raise
    raise AssertionError


def _read(
    uid: uuids.UUID,
    item: Item,
    bay: int,
    volts: float,
    load_ohm: float | None,
    minutes_off: float | None,
    read_at: datetime,
    received_at: datetime,
    person: Person | None,
    anyway: bool,
) -> Read:
    item = held(item)
    known = CellReading.objects.filter(uid=uid).select_related("item__type").first()
    if known is not None:
        if known.takes_back_id is not None:
            raise CellRefused("That id is the one of taking a reading back. Make a new id for a new reading.", "id")
        told = _told(known, again=True, at=received_at)
        if abs(known.volts - volts) > 1e-9:
            told.words.insert(
                0, f"That id is on record with {known.volts:g} V: {volts:g} V was not kept. Make a new id for it."
            )
        return told
    dated(item, read_at, received_at, "read_at", "reading")
    many = sets_of(item.type, plan_of([item.type])[item.type_id])
    if not many:
        raise CellRefused(f"{item} has no place for cells.", "code")
    if not 1 <= bay <= many:
        place = "1 place" if many == 1 else f"{many} places"
        raise CellRefused(f"{item} has {place} for a set: there is no place {bay}.", "bay")
    if load_ohm is not None and not (isfinite(load_ohm) and 0.1 <= load_ohm <= 1e6):
        raise CellRefused("A test load lies between 0.1 ohm and 1 Mohm: at 0 it is a short circuit.", "load_ohm")
    if minutes_off is not None and not (isfinite(minutes_off) and 0 <= minutes_off <= LONGEST_OFF):
        raise CellRefused("Minutes since it was switched off are not below nothing.", "minutes_off")
    if not isfinite(volts) or volts > 1e6:
        raise CellRefused("A reading is a number of volts.", "volts")
    read_at = min(read_at, received_at)
    fitted = set_at(item, bay, read_at)
    type_ = fitted.type if fitted else CellType.objects.filter(key=item.type.cell_size).first()
    series = fitted.cells if fitted else plan_of([item.type])[item.type_id].cells_a_bay
    if type_ is not None:
        try:
            cells.checked_volts(kind_of(type_), volts, series)
        except CellError as wrong:
            raise CellRefused(str(wrong), "volts") from wrong
        if cells.reads_nothing(kind_of(type_), volts, series) and not anyway:
            raise CellRefused(nothing_words(volts), "volts", anyway=True)
    if not 0 <= volts <= 60:
        raise CellRefused("A reading lies between 0 and 60 V: was it typed in millivolts?", "volts")
    reading = CellReading.objects.create(
        uid=uid,
        item=item,
        bay=bay,
        volts=volts,
        load_ohm=load_ohm,
        minutes_off=minutes_off,
        read_at=read_at,
        received_at=received_at,
        person=person,
    )
    item_cells_reckon(item=item, at=received_at)
    return _told(reading, again=False, at=received_at)


def _told(reading: CellReading, *, again: bool, at: datetime) -> Read:
    """Return what a reading says; of one sent again, as of the moment it first came in."""
    at = reading.received_at if again else at
    item = reading.item
    fitted = set_at(item, reading.bay, reading.read_at)
    plan = plan_of([item.type])[item.type_id]
    if fitted is None:
        usual = CellType.objects.filter(key=item.type.cell_size).first()
        words = ["What is in it is not on record: note the set, and the hours can be reckoned."]
        if usual is None:
            return Read(reading=reading, again=again, left=None, left_sigma=None, life=None, words=words)
        left, sigma, said = _charge(reading, usual, plan.cells_a_bay, None)
        return Read(reading=reading, again=again, left=left, left_sigma=sigma, life=None, words=[*said, *words])
    fitted = FittedSet.objects.select_related("type", "lot", "cell_set__type__cell_set_facts").get(pk=fitted.pk)
    one = evidence_of(items=[item], sets=[fitted], at=at).told[0]
    found = explained(one)
    ma = None
    if (
        one.kind is not None
        and one.draw is not None
        and one.kind.curve
        and reading.load_ohm is None
        and reading.minutes_off == 0
    ):
        ma = usual_ma(cells.table_of(one.kind), exp(one.draw.mean_ln), one.draw.load, one.draw.in_series)
    left, sigma, said = _charge(reading, fitted.type, fitted.cells, ma)
    floor = fitted.type.floor_v
    if (
        floor is not None
        and reading.volts < floor * fitted.cells
        and (reading.load_ohm is not None or reading.minutes_off == 0)
    ):
        said.append(f"Under {floor * fitted.cells:g} V loaded: not for a show.")
    if not again:
        said += [words for words in (doubt_of(reading, one),) if words]
    life = found if isinstance(found, Life) else None
    if isinstance(found, str) and found:
        said.append(found)
    return Read(reading=reading, again=again, left=left, left_sigma=sigma, life=life, words=said)


def doubt_of(newest: CellReading, one: Told) -> str:
    """Say which earlier readings of the set a new one contradicts."""
    if one.kind is None:
        return ""
    since = max(one.since, one.fitted.fitted_at)  # a labelled set may have been charged before it went in
    before = counting_readings().filter(item=newest.item_id, bay=newest.bay, read_at__gte=since, read_at__lt=newest.read_at)
    rows = [*before.order_by("read_at", "pk"), newest]
    read = [read_of(row, one.kind, one.draw) for row in rows]
    return doubt_words([read[n] for n in doubted(one.kind, read, one.fitted.cells)], read[-1])


def read_of(row: CellReading, kind: CellKind | None, draw: Draw | None) -> DoubtRead:
    """Return a reading as it is held against others of the same set."""
    ma = 1000 * row.volts / row.load_ohm if row.load_ohm else 0.0
    if not ma and row.minutes_off == 0 and draw is not None and kind is not None and kind.curve:
        ma = usual_ma(cells.table_of(kind), exp(draw.mean_ln), draw.load, draw.in_series)
    return DoubtRead(volts=row.volts, ma=ma, minutes_off=row.minutes_off, when=day_words(row.read_at))


def _charge(
    reading: CellReading, type_: CellType, series: int, own_ma: float | None
) -> tuple[float | None, float | None, list[str]]:
    kind = kind_of(type_)
    ma = own_ma if own_ma is not None else 1000 * reading.volts / reading.load_ohm if reading.load_ohm else 0.0
    try:
        depth, sigma = cells.depth_from_reading(kind, reading.volts, ma, series, reading.minutes_off)
    except CellError as wrong:
        return None, None, [str(wrong)]
    said = []
    if kind.flat:
        said.append(f"The volts of {kind.name} say little until it is nearly empty: go by hours.")
    if ma == 0:
        said.append("Read without a load, which flatters: a test load tells more.")
    return 1 - depth, sigma, said


def reading_take_back(*, reading: CellReading, person: Person | None, at: datetime) -> CellReading:
    """Take a reading back by a new row that names it; asked twice, it is taken back once."""
    if reading.takes_back_id is not None:
        raise CellRefused("That row takes a reading back. To have the reading again, note it again.")
    with transaction.atomic():
        item = held(reading.item)
        known = CellReading.objects.filter(takes_back=reading).first()
        if known is not None:
            return known
        row = CellReading.objects.create(
            uid=uuids.uuid5(reading.uid, "taken back"),
            item=item,
            bay=reading.bay,
            volts=reading.volts,
            read_at=reading.read_at,
            received_at=at,
            person=person,
            takes_back=reading,
        )
        item_cells_reckon(item=item, at=at)
    return row


def charge_record(
    *, uid: uuids.UUID, item: Item, at: datetime, received_at: datetime, person: Person | None, show: int | None = None
) -> Charge:
    """Note that a labelled set, or a device with a pack of its own, was charged; once a uid."""
    with transaction.atomic():
        item = held(item)
        known = Charge.objects.filter(uid=uid).first()
        if known is not None:
            return known
        dated(item, at, received_at, "at", "charge")
        if item.retired_on:
            raise CellRefused(f"{item} was retired on {day_words(item.retired_on)}.", "code")
        if item.type.kind != Kind.CELL_SET:
            sitting = FittedSet.objects.filter(item=item, removed_at=None).select_related("type", "cell_set__type")
            inside = sitting.order_by("bay").first()
            if inside is not None and not inside.type.rechargeable:
                raise CellRefused(f"{inside.type.name} is in it: primaries are never charged.", "code")
            if inside is not None and inside.cell_set is not None:
                item = inside.cell_set  # charged where it sits
            elif inside is None and not plan_of([item.type])[item.type_id].full_charge_h:
                raise CellRefused(f"{item} has no pack of its own to charge.", "code")
        charge = Charge.objects.create(uid=uid, item=item, at=min(at, received_at), show=show, person=person)
        _reckon_holders(item, received_at)
    return charge


def charge_withdraw(*, charge: Charge, at: datetime) -> None:
    """Take a charge back; asked twice, once."""
    with transaction.atomic():
        item = held(charge.item)
        if Charge.objects.filter(pk=charge.pk, withdrawn_at=None).update(withdrawn_at=at):
            _reckon_holders(item, at)


def capacity_test_record(
    *,
    uid: uuids.UUID,
    item: Item,
    mah: float,
    rate_ma: float | None = None,
    done_at: datetime,
    received_at: datetime,
    person: Person | None,
) -> tuple[CapacityTest, Trend | None]:
    """Note what a discharge test gave of a labelled set, once a uid; answers it and the trend, which may say to retire it."""
    with transaction.atomic():
        item = held(item)
        known = CapacityTest.objects.filter(uid=uid).first()
        if known is not None:
            return known, capacity_trend_of(item, received_at)
        if item.type.kind != Kind.CELL_SET:
            raise CellRefused(f"{item} is no rechargeable set.", "code")
        dated(item, done_at, received_at, "done_at", "test")
        if not (isfinite(mah) and 1 <= mah <= 1e6):
            raise CellRefused("A capacity lies between 1 and a million mAh.", "mah")
        facts = getattr(item.type, "cell_set_facts", None)
        if facts is not None and facts.capacity_mah and mah > 3 * facts.capacity_mah:
            raise CellRefused(f"{mah:g} mAh cannot come from a set of {facts.capacity_mah:g} mAh.", "mah")
        if rate_ma is not None and not (isfinite(rate_ma) and 0.1 <= rate_ma <= 1e5):
            raise CellRefused("A rate lies between 0.1 mA and 100 A.", "rate_ma")
        test = CapacityTest.objects.create(
            uid=uid, item=item, mah=mah, rate_ma=rate_ma, done_at=min(done_at, received_at), person=person
        )
        _reckon_holders(item, received_at)
    return test, capacity_trend_of(item, received_at)


def capacity_test_take_back(*, test: CapacityTest, person: Person | None, at: datetime) -> CapacityTest:
    """Take a capacity test back by a new row that names it; asked twice, once."""
    if test.takes_back_id is not None:
        raise CellRefused("That row takes a test back. To have the test again, note it again.")
    with transaction.atomic():
        item = held(test.item)
        known = CapacityTest.objects.filter(takes_back=test).first()
        if known is not None:
            return known
        row = CapacityTest.objects.create(
            uid=uuids.uuid5(test.uid, "taken back"),
            item=item,
            mah=test.mah,
            done_at=test.done_at,
            person=person,
            takes_back=test,
        )
        _reckon_holders(item, at)
    return row


def capacity_trend_of(item: Item, at: datetime, need_mah: float | None = None) -> Trend | None:
    """Return the trend of a labelled set's capacity by its tests; None where neither a printed capacity nor a test is there."""
    tests = list(counting_capacity_tests().filter(item=item).order_by("done_at", "pk").values_list("done_at", "mah"))
    facts = getattr(item.type, "cell_set_facts", None)
    rated = (facts.capacity_mah if facts else None) or (tests[0][1] if tests else None)
    if not rated:
        return None
    born: date = item.bought_on or today(item.added_at)
    years = [((today(done) - born) / timedelta(days=365.25), mah) for done, mah in tests]
    try:
        return capacity_trend(
            [(max(y, 0.0), mah) for y, mah in years],
            rated_mah=rated,
            now_years=max((today(at) - born) / timedelta(days=365.25), 0.0),
            need_mah=need_mah,
        )
    except CellError:
        return None


def held(item: Item) -> Item:
    found = Item.objects.select_for_update(of=("self",), no_key=True).select_related("type").filter(pk=item.pk).first()
    if found is None:
        raise CellRefused("That item is gone: somebody has just deleted it.", "code")
    return found


def dated(item: Item, at: datetime, received_at: datetime, where: str, what: str) -> None:
    if at > received_at + CLOCKS_DIFFER:
        raise CellRefused(f"The {what} is dated {moment(at)}, and that is still to come. Check the date.", where)
    if at.year < 2000:
        raise CellRefused("That date cannot be.", where)
    if item.bought_on and today(at) < item.bought_on:
        raise CellRefused(f"{item} was bought on {day_words(item.bought_on)}: check the date.", where)


def _reckon_holders(item: Item, at: datetime) -> None:
    """Work out the device a labelled set sits in, or the thing itself."""
    holders = (
        Item.objects.filter(fitted_sets__cell_set=item, fitted_sets__removed_at=None).select_related("type").order_by("pk")
    )
    for holder in holders:
        item_cells_reckon(item=holder, at=at)
    if item.type.kind != Kind.CELL_SET:
        item_cells_reckon(item=item, at=at)
