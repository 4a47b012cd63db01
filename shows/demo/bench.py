"""The demo's evenings at the bench: what was tested when, with readings a meter could show, what failed and was mended."""

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from inventory.models import Item
from maintenance.bench_subject import Subject, subject_of
from maintenance.calc.bench import Capability, Depth, PairReading, Procedure, StepReading, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.procedures import steps_for
from maintenance.calc.wiring import Lead, pairs_to_ask
from maintenance.calc.wiring_nets import Expect
from maintenance.models import BenchSettings, Fault, Sitting, TestCall
from maintenance.services.bench import Given, items_dates, test_record, tests_insert
from maintenance.services.bench_effects import items_refold
from maintenance.services.bench_judging import bench_limits, judged, row_of
from maintenance.services.bench_settings import capabilities_say
from maintenance.services.calls import calls_record
from maintenance.services.repairs import repair_record
from shows.demo.stock import Cast

OWNS = [c for c in Capability if c not in (Capability.MILLIOHMS, Capability.SUPPLY, Capability.MAINS_TESTER)]
OVER = 20_000_000.0  # what the meter's range ends at
NULL = 0.1  # ohms of the meter's own leads: they are in what is read
EACH = timedelta(minutes=3)


def bench_open(*, cast: Cast) -> None:
    """Say what the shop's instruments can do."""
    capabilities_say(measures=OWNS, at=cast.ago(199))


def evening(
    *,
    cast: Cast,
    items: Iterable[Item],
    days: float,
    depth: Depth,
    instrument: str,
    hour: int = 18,
    bad: Mapping[int, str] | None = None,
) -> None:
    """Test things one after the other, so many days ago. `bad` says of an item, by key, what its readings show.

    Recorded together, by the services that record them singly.
    """
    items = list(items)
    began, person = cast.ago(days, hour), cast.people["technician"]
    meter = Item.objects.filter(type__key=instrument).first()
    sitting = Sitting.objects.create(
        person=person,
        began_at=began,
        ended_at=began + EACH * (len(items) + 1),
        instrument=meter,
        depth=depth,
        temperature_c=17.0,
        null_ohms=NULL,
    )
    limits, rows = bench_limits(), []
    subjects = subject_of(items)
    for number, item in enumerate(items, 1):
        given = _given(cast, subjects[item.pk], sitting, began + EACH * number, limits, (bad or {}).get(item.pk, ""))
        judgement = judged(given, subjects[item.pk], limits)
        row = row_of(given, subjects[item.pk], judgement, person=person, received_at=given.done_at)
        rows.append((row, judgement))
    tests_insert(rows=rows)
    keys, over = [item.pk for item in items], began + EACH * (len(items) + 1)
    items_refold(item_ids=keys, at=over)
    items_dates(item_ids=keys, at=over)


def mended(*, cast: Cast, item: Item, days: float, did: str, hour: int = 10, **more: Any) -> None:
    """Mend an item and test it again an hour later, flexed."""
    at, person = cast.ago(days, hour), cast.people["technician"]
    fault = Fault.objects.filter(item=item, closed_at=None, withdrawn_at=None).order_by("opened_at").first()
    repair_record(
        uid=cast.uid(), item=item, did=did, done_at=at, person=person, received_at=at, fault=fault, **{"minutes": 15, **more}
    )
    item = Item.objects.select_related("type").get(pk=item.pk)
    sitting = Sitting.objects.filter(person=person).order_by("-began_at")[0]
    given = _given(
        cast, subject_of([item])[item.pk], sitting, at + timedelta(hours=1), bench_limits(), "", depth=Depth.OHMS_FLEXED
    )
    test_record(given=given, person=person, received_at=given.done_at)


def rained_on(*, cast: Cast, items: Iterable[Item], show: int, at: datetime) -> None:
    """Say that things got wet at a show."""
    calls_record(items=items, why=TestCall.Why.WET, show=show, person=cast.people["hand"], at=at, uid=cast.uid())


def _given(
    cast: Cast,
    subject: Subject,
    sitting: Sitting,
    at: datetime,
    limits: BenchLimits,
    shows: str,
    *,
    depth: Depth | None = None,
) -> Given:
    """Return a test with readings, where a meter has any, or with the tester's word."""
    more: dict[str, Any] = {"procedure": Procedure.WORD, "word": not shows, "note": shows}
    depth = depth or Depth(sitting.depth)
    if subject.lead is not None:
        more = {"procedure": Procedure.WIRING, "readings": _pairs(cast, subject.lead, limits, depth, shows)}
    elif not shows and (answers := _answers(cast, subject, limits)):
        more = answers
    return Given(
        uid=cast.uid(),
        item=subject.item,
        depth=depth,
        done_at=at,
        instrument=sitting.instrument,
        null_ohms=sitting.null_ohms,
        temperature_c=sitting.temperature_c,
        sitting=sitting,
        minutes=3,
        **more,
    )


def _pairs(cast: Cast, lead: Lead, limits: BenchLimits, depth: Depth, shows: str) -> tuple[PairReading, ...]:
    """Return what a meter shows of a lead: copper and plugs where pins are joined, nothing where they are not."""
    settings = BenchSettings.current()
    asks = pairs_to_ask(wiring=lead.wiring, capabilities=settings.capabilities(), depth=depth, lead=lead, limits=limits)
    readings, share = {}, cast.dice.uniform(0.62, 0.78)  # how much of what is allowed this one has
    for ask in asks:
        if ask.expected == Expect.JOINED:
            ohms = round((ask.limit or 0.5) * share * cast.dice.uniform(0.99, 1.01) + NULL, 2)
            readings[ask.pair] = PairReading(a=ask.a, b=ask.b, ohms=ohms, flexed=ask.flex)
        elif ask.expected == Expect.OPEN:
            readings[ask.pair] = PairReading(a=ask.a, b=ask.b, above_ohms=OVER)
    for (a, b), read in _SHOWN.get(shows, {}).items():
        readings[a, b] = PairReading(a=a, b=b, ohms=read) if read else PairReading(a=a, b=b, above_ohms=OVER)
    return tuple(readings.values())


# What a lead with this fault reads where a good one reads otherwise; None is above the meter's range.
_SHOWN: dict[str, dict[tuple[str, str], float | None]] = {
    "swapped": {("A2", "B2"): None, ("A3", "B3"): None, ("A2", "B3"): 0.7, ("A3", "B2"): 0.7},
    "open": {("A3", "B3"): None},
    "corroded": {("A2", "B2"): 6.4},
    "worn": {("A2", "B2"): 1.5},
    "dead 14": {("A14.3", "B14.3"): None},
}


def _answers(cast: Cast, subject: Subject, limits: BenchLimits) -> dict[str, Any]:
    """Return answers of a good box to its steps; nothing where they would not make it pass, and the tester's word stands."""
    procedure = subject.procedures[0]
    steps = steps_for(
        procedure=procedure,
        facts=subject.facts,
        capabilities=BenchSettings.current().capabilities(),
        limits=limits,
        golden=subject.golden,
    )
    readings = []
    for step in steps:
        if not step.unit:
            readings.append(StepReading(step=step.key, yes=step.wanted is not False))
            continue
        low, high = step.low, step.high
        if low is None and high is None:
            return {}
        middle = (
            (low + high) / 2 if low is not None and high is not None else low * 1.5 if low is not None else (high or 0) * 0.6
        )
        reach = (high - low) / 8 if low is not None and high is not None else abs(middle) / 20
        readings.append(StepReading(step=step.key, value=round(middle + cast.dice.uniform(-reach, reach), 3)))
    found: dict[str, Any] = {"procedure": procedure, "steps": tuple(readings)}
    trial = Given(uid=cast.uid(), item=subject.item, depth=Depth.OHMS, done_at=cast.at, **found)
    return found if readings and judged(trial, subject, limits).verdict == Verdict.PASS else {}
