"""What happened to it all: eight shows and the scans of each, faults and repairs, loans, strays, lost labels."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from company.clock import today
from company.models import Person
from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.models import CountedLine, Item, Label
from inventory.services.cases import placement_record
from inventory.services.counted import count_back, count_bought, count_found_bad, count_out
from inventory.services.items import item_add, item_borrow, item_gone_home, item_lend, item_retire
from inventory.services.labels import label_gone, labels_mint
from inventory.services.strays import stray_record
from maintenance.calc.bench import Depth
from maintenance.services.faults import fault_open, item_taken_as_good
from maintenance.services.retest_wear import night_reckon
from shows.calc.times import show_times
from shows.demo.bench import bench_open, evening, mended, rained_on
from shows.demo.stock import Cast
from shows.models import PullRow, Rig, Show, Venue
from shows.services.pull import rig_pull, row_add
from shows.services.scans import scans_record
from shows.services.shows import show_add, show_close

SAM, LARK = "Sam's phone", "Lark's phone"


def shows_make(*, cast: Cast, told: dict[str, Any]) -> list[tuple[Show, dict[str, Any]]]:
    """Make the venues and the eight shows with their pull lists; return each with what the fixture tells of it."""
    for venue in told["venues"]:
        Venue.objects.create(**venue)
    made = []
    for entry in told["shows"]:
        times = _tonight(cast) if entry["load_in"] == "tonight" else _times(cast, entry)
        show = show_add(
            name=entry["name"],
            client=entry["client"],
            venue=Venue.objects.get(name=entry["venue"]),
            times=show_times(zone=cast.company.zone, **times),
            notes="",
            at=min(cast.at, times["load_in"] - timedelta(days=30)),
        )
        for name in entry["rigs"]:
            rig_pull(show=show, rig=Rig.objects.get(name=name))
        for key, length_mm, count, feed, critical in entry["rows"]:
            row_add(
                show=show,
                type=cast.types[key],
                length_mm=length_mm,
                count=count,
                feed=feed,
                critical=critical or "normal",
                reason="asked for by the client" if critical != "spare" else "one to spare on each side of the stage",
            )
        made.append((show, entry))
    return made


def _times(cast: Cast, entry: dict[str, Any]) -> dict[str, datetime]:
    zone = cast.company.zone
    first = today(cast.at) + timedelta(days=entry["day"])

    def at(clock: str, days: int) -> datetime:
        hour, minute = clock.split(":")
        return datetime(first.year, first.month, first.day, int(hour), int(minute), tzinfo=zone) + timedelta(days=days)

    return {
        "load_in": at(entry["load_in"], 0),
        "start": at(entry["start"], 0),
        "end": at(entry["end"], entry["end_day"]),
        "home_by": at(entry["home_by"], max(entry["home_day"], entry["end_day"])),
    }


def _tonight(cast: Cast) -> dict[str, datetime]:
    """Let the ceilidh load at 17:30, or two hours from now if that has passed, and in any case before midnight."""
    here = cast.at.astimezone(cast.company.zone).replace(second=0, microsecond=0)
    soon = here.replace(minute=30 * (here.minute // 30)) + timedelta(hours=2)
    load_in = min(max(soon, here.replace(hour=17, minute=30)), here.replace(hour=23, minute=45))
    return {
        "load_in": load_in,
        "start": load_in + timedelta(hours=2, minutes=30),
        "end": load_in + timedelta(hours=6),
        "home_by": load_in + timedelta(hours=8),
    }


def lives_make(*, cast: Cast, shows: list[tuple[Show, dict[str, Any]]], told: dict[str, Any]) -> None:
    """Play the shows in order, with the evenings at the bench between them, then the odds and ends of a working shop."""
    bench_open(cast=cast)
    evenings = sorted(told["bench"], key=lambda entry: -entry["days"])
    _before_the_shows(cast, evenings)
    for show, entry in sorted(shows, key=lambda pair: pair[0].load_in):
        if entry["story"] == "planned":
            continue
        while evenings and cast.ago(evenings[0]["days"]) < show.load_in:
            _evening(cast, evenings.pop(0))
        _out(cast, show, entry)
        _PLAY[entry["story"]](cast, show)
    _odds_and_ends(cast, {show.name: show for show, _entry in shows})
    night_reckon(at=cast.at)  # as the night would


def _evening(cast: Cast, told: dict[str, Any]) -> None:
    """Hold one evening at the bench: first proofs of some types, or again what went to a show; then mend what failed."""
    if "after" in told:
        used = Item.objects.filter(checkouts__show__name=told["after"], type__key__in=told["types"], retired_on=None)
        called = Item.objects.filter(test_calls__answered_by=None, test_calls__isnull=False)
        said = Item.objects.filter(suspect_since__isnull=False, type__key__in=told["types"])
        keys = [*called.values_list("pk", flat=True), *said.values_list("pk", flat=True)]
        keys += used.order_by("pk").values_list("pk", flat=True)
        keys = list(dict.fromkeys(keys))[: told["count"]]
    else:
        keys = [i.pk for i in cast.proved if i.type.key in told["types"] and i.length_mm >= told.get("from_mm", 0)]
        cast.proved = [item for item in cast.proved if item.pk not in set(keys)]
    items = list(Item.objects.filter(pk__in=keys).select_related("type").order_by("type__name", "length_mm", "pk"))
    suspects = [item for item in items if item.suspect_since]
    shows = dict(told.get("bad", {}))
    bad = {item.pk: shows.pop("said") for item in suspects[:1] if "said" in shows}
    bad |= {_at(items, place).pk: fault for place, fault in shows.items() if place != "said"}
    evening(
        cast=cast,
        items=items,
        days=told["days"],
        depth=Depth(told["depth"]),
        instrument=told["instrument"],
        bad=bad,
    )
    for item in Item.objects.filter(pk__in=bad, suspect_since__isnull=False).order_by("pk"):
        mended(cast=cast, item=item, days=told["days"] - 1, did=told["did"][bad[item.pk]])


def _at(items: list[Item], place: str) -> Item:
    """Return the item at a place in the evening, or the first of a type."""
    return items[int(place)] if place.isdecimal() else next(item for item in items if item.type.key == place)


def scan_told(cast: Cast, show: Show | None, code: str, action: str, at: datetime, **more: Any) -> dict[str, Any]:
    return {
        "id": cast.uid(),
        "code": code,
        "action": action,
        "show": show.pk if show else None,
        "happened_at": at.isoformat(),
        **more,
    }


def scans_send(cast: Cast, who: str, device: str, scans: Iterable[dict[str, Any]]) -> None:
    """Send scans as a phone would: in batches, each taken in when its last scan happened."""
    waiting = sorted(scans, key=lambda s: s["happened_at"])
    for start in range(0, len(waiting), 200):
        batch = waiting[start : start + 200]
        sent = datetime.fromisoformat(batch[-1]["happened_at"])
        for number, scan in enumerate(batch):
            scan["seq"] = int(sent.timestamp()) * 1000 + number
        scans_record(actor=cast.people[who], device=device, sent_at=sent, scans=batch, received_at=min(sent, cast.at))


def _wanted(show: Show, in_cases: set[int]) -> list[tuple[PullRow, list[Item]]]:
    """Choose which labelled things go: those in a case that goes anyway, then known good before the rest, never suspect."""
    chosen: set[int] = set()
    answer = []
    for row in PullRow.objects.filter(show=show).select_related("type"):
        free = Item.objects.fit_to_go(show.hold_from).filter(type=row.type, length_mm=row.length_mm).exclude(pk__in=chosen)
        best = sorted(
            free, key=lambda item: (item.pk not in in_cases, item.in_case_id is not None, item.tested_on is None, item.pk)
        )
        items = best[: row.count]
        chosen.update(item.pk for item in items)
        answer.append((row, items))
    return answer


def _out(cast: Cast, show: Show, entry: dict[str, Any]) -> None:
    """Pack a show: its cases by one scan each, the rest of its list one by one, counted things by count."""
    began = min(show.load_in, cast.at) - timedelta(hours=2)
    step = timedelta(seconds=14)
    scans, at = [], began
    for name in entry["cases"]:
        case = cast.cases[name]
        at += step
        scans.append(scan_told(cast, show, case.code, "out", at, counted=case.contents.count()))
    in_cases = set(
        Item.objects.filter(in_case__in=[cast.cases[name].pk for name in entry["cases"]]).values_list("pk", flat=True)
    )
    packing = entry["story"] == "packing"
    for number, (row, items) in enumerate(_wanted(show, in_cases)):
        if packing and number % 3 == 2:
            continue
        for item in items:
            if item.pk in in_cases or item.type.kind == Kind.CASE:
                continue
            at += step
            scans.append(scan_told(cast, show, item.code, "out", at))
        _counted_out(cast, show, row, row.count - len(items), at)
    scans_send(cast, "hand", SAM, scans)


def _counted_out(cast: Cast, show: Show, row: PullRow, count: int, at: datetime) -> None:
    line = CountedLine.objects.filter(type=row.type, length_mm=row.length_mm).first()
    if line and count > 0:
        count_out(uid=cast.uid(), line=line, show=show.pk, count=count, at=at, person=cast.people["hand"])


def _home(cast: Cast, show: Show, *, left: Iterable[int] = (), bad_of: str = "") -> None:
    """Load the truck after the show and scan everything back but what was left behind; cases by one scan each."""
    left = set(left)
    truck_at, home_at = show.strike + timedelta(minutes=20), show.home_by - timedelta(minutes=25)
    out = Item.objects.filter(custody_show=show.pk).exclude(pk__in=left).select_related("type", "in_case")
    with_case = {item.pk for item in out if item.in_case and item.in_case.custody_show == show.pk}
    trucks, backs = [], []
    for number, item in enumerate(out):
        if item.pk in with_case:
            continue
        later = timedelta(seconds=9 * number)
        trucks.append(scan_told(cast, show, item.code, "truck", truck_at + later))
        backs.append(scan_told(cast, None, item.code, "back", home_at + later))
    scans_send(cast, "lark", LARK, trucks)
    scans_send(cast, "hand", SAM, backs)
    for line in CountedLine.objects.described().select_related("type"):
        moved = sum(line.moves.filter(show=show.pk).values_list("delta", flat=True))
        if moved >= 0:
            continue
        bad = 1 if line.type.key == bad_of else 0
        count_back(
            uid=cast.uid(),
            line=line,
            show=show.pk,
            good=-moved - bad,
            bad=bad,
            at=home_at,
            person=cast.people["hand"],
        )


def _clean(cast: Cast, show: Show) -> None:
    """It rained in the afternoon: the leads on the stage got wet."""
    wet = list(Item.objects.filter(custody_show=show.pk, type__key="lead-mic").order_by("pk")[:12])
    _tape(cast, show, out=4, back=2)
    _home(cast, show)
    rained_on(cast=cast, items=wet, show=show.pk, at=show.end)
    show_close(show=show, uid=cast.uid(), person=cast.people["owner"], at=show.home_by + timedelta(hours=14))


def _fault(cast: Cast, show: Show) -> None:
    """A lead hums on the fiddle; it comes back in a bag, and the technician mends it."""
    lead = _one_out(show, "lead-mic", 10_000)
    heard = show.start + timedelta(minutes=50)
    report = scan_told(cast, show, lead.code, "inspect", heard, condition="suspect", symptom="hums", note="on the fiddle")
    scans_send(cast, "hand", SAM, [report])
    _tape(cast, show, out=6, back=4)
    _home(cast, show, bad_of="lead-ts")
    mended(cast=cast, item=lead, days=19, did="Pin 1 was dry at end B: resoldered.", end="B")
    show_close(show=show, uid=cast.uid(), person=cast.people["owner"], at=show.home_by + timedelta(days=2))


def _missing(cast: Cast, show: Show) -> None:
    """A lead was dead at line check; one never came home, and the show is closed without it."""
    dead = _one_out(show, "lead-mic", 6_000)
    heard = show.start - timedelta(hours=2)
    scans_send(cast, "hand", SAM, [scan_told(cast, show, dead.code, "inspect", heard, condition="suspect", symptom="dead")])
    lead = _one_out(show, "lead-mic", 10_000, on_its_own=True)
    _tape(cast, show, out=3, back=1)
    _home(cast, show, left=[lead.pk])
    show_close(show=show, uid=cast.uid(), person=cast.people["owner"], at=show.home_by + timedelta(days=3))


def _not_home(cast: Cast, show: Show) -> None:
    """A lead is still at last night's venue, never on the truck; a microphone was on it and was not scanned back."""
    lead, microphone = (
        _one_out(show, "lead-mic", 10_000, on_its_own=True),
        _one_out(show, "mic-dynamic-vocal", 0, on_its_own=True),
    )
    _home(cast, show, left=[lead.pk, microphone.pk])
    loaded = scan_told(cast, show, microphone.code, "truck", show.strike + timedelta(minutes=41))
    scans_send(cast, "lark", LARK, [loaded])


def _under_way(cast: Cast, show: Show) -> None:
    """On now: a box died in the second set and a spare took its place; channel 7 hummed."""
    dead = _one_out(show, "active-box", 0)
    row_add(
        show=show, type=dead.type, item=dead, line="5", feed="cells", critical="critical", reason="bouzouki, no phantom there"
    )
    died = min(show.start + timedelta(hours=3), cast.at - timedelta(minutes=40))
    spare = (
        Item.objects.filter(type=dead.type, custody_show=show.pk, suspect_since=None).exclude(pk=dead.pk).order_by("pk").first()
    )
    scans = [scan_told(cast, show, dead.code, "inspect", died, condition="suspect", symptom="dead")]
    if spare:
        scans.append(scan_told(cast, show, spare.code, "out", died + timedelta(minutes=2), replaces=dead.code))
    scans.append(
        scan_told(cast, show, "CH.7", "inspect", died + timedelta(minutes=12), symptom="hums", note="with the lights on")
    )
    scans_send(cast, "hand", SAM, scans)


def _packing(cast: Cast, show: Show) -> None:
    """Loading tonight: one box that is at the fair by the record was scanned here a moment ago."""
    elsewhere = (
        Item.objects.filter(custody="show", type__key="mic-dynamic-vocal").exclude(custody_show=show.pk).order_by("pk").first()
    )
    if elsewhere:
        scans_send(cast, "lark", LARK, [scan_told(cast, show, elsewhere.code, "out", cast.at - timedelta(minutes=12))])


_PLAY = {
    "clean": _clean,
    "fault": _fault,
    "missing": _missing,
    "not-home": _not_home,
    "under-way": _under_way,
    "packing": _packing,
}


def _one_out(show: Show, key: str, length_mm: int, *, on_its_own: bool = False) -> Item:
    out = Item.objects.filter(custody_show=show.pk, type__key=key, length_mm=length_mm)
    if on_its_own:
        out = out.filter(in_case=None)
    return out.order_by("pk")[0]


def _tape(cast: Cast, show: Show, *, out: int, back: int) -> None:
    line = CountedLine.objects.get(type=cast.types["tape-gaffer"])
    hand = cast.people["hand"]
    count_out(uid=cast.uid(), line=line, show=show.pk, count=out, at=show.load_in, person=hand)
    count_back(uid=cast.uid(), line=line, show=show.pk, good=back, at=show.home_by, person=hand)
    count_bought(uid=cast.uid(), line=line, count=2, at=show.home_by + timedelta(days=3), person=cast.people["owner"])


def _before_the_shows(cast: Cast, evenings: list[dict[str, Any]]) -> None:
    """Take a few things as good on the day they were labelled, and mend an old fault."""
    while evenings and evenings[0]["days"] > 140:
        _evening(cast, evenings.pop(0))
    technician = cast.people["technician"]
    for item in Item.objects.filter(type__key__in=["mic-kick", "line-isolator", "headphones"]).order_by("pk")[:5]:
        item_taken_as_good(item=item, at=cast.ago(150), person=technician, how="Used for years and nothing said against it.")
    box = Item.objects.filter(type__key="active-box").order_by("pk")[1]
    fault_open(
        uid=cast.uid(),
        item=box,
        symptom="crackles",
        note="when the jack is moved",
        at=cast.ago(140, 22),
        person=cast.people["hand"],
    )
    mended(cast=cast, item=box, days=137, hour=14, did="Dry joint at the input jack: resoldered.", minutes=40, cost_cents=0)


def _odds_and_ends(cast: Cast, shows: dict[str, Show]) -> None:
    """Give every standing and every whereabouts at least one thing that has it."""
    owner, technician, hand = (cast.people[n] for n in ("owner", "technician", "hand"))
    now, day = cast.at, today(cast.at)
    free = Item.objects.fit_to_go(day).filter(in_case=None)

    def spare(key: str, length_mm: int = 0) -> Item:
        return free.filter(type__key=key, length_mm=length_mm).order_by("-pk")[0]

    lead = spare("lead-mic", 6_000)
    placement_record(
        uid=cast.uid(), item=lead, case=cast.cases["2"], effective_at=now - timedelta(hours=9), device=SAM, person=hand
    )
    _suspect(cast, spare("mic-dynamic-instrument"), "crackles", "when the lead is moved", 3, hand)
    _suspect(cast, spare("lead-mic", 1_000), "quiet", "", 12, hand)

    for item, place in ((spare("tx-body"), "Repairer in Upper Wenbury"), (spare("active-box-piezo"), "Bench")):
        _suspect(cast, item, "comes and goes", "", 6, technician)
        Item.objects.filter(pk=item.pk).update(at=cast.places[place])

    item_lend(
        item=spare("loudspeaker-passive"),
        to="Wenbury players",
        on=day - timedelta(days=4),
        home_by=day + timedelta(days=3),
        at=now - timedelta(days=4),
        person=owner,
    )
    _borrowed(cast, "stand-loudspeaker", "Wenbury town band 1", "Wenbury town band", now - timedelta(days=2), day)
    gone = _borrowed(cast, "mic-boundary", "on loan", "St Brannoc's school", now - timedelta(days=20), day - timedelta(days=8))
    item_gone_home(item=gone, on=day - timedelta(days=9), at=now - timedelta(days=9), person=owner)
    for key, length_mm, because in (
        ("passive-box-budget", 0, "Winding open; a new one costs less than the hour."),
        ("lead-mic", 3_000, "Crushed under a trunk wheel."),
    ):
        item_retire(
            item=spare(key, length_mm),
            because=because,
            on=day - timedelta(days=30),
            at=now - timedelta(days=30),
            person=technician,
        )
    label_gone(item=spare("lead-mic", 15_000), at=now - timedelta(days=2))
    meter = Item.objects.filter(type__key="meter").order_by("pk")[0]
    Item.objects.filter(pk=meter.pk).update(
        calibrated_on=day - timedelta(days=300), calibration_due_on=day + timedelta(days=65)
    )

    supper = shows["Chapel supper"]
    stray_record(
        what="Short grey lead with a yellow band",
        code_text="YB 14",
        whose="the chapel, perhaps",
        where="Bench",
        show=supper.pk,
        at=min(now, supper.home_by) - timedelta(minutes=5),
        person=hand,
    )
    bad = CountedLine.objects.get(type=cast.types["lead-mic"], length_mm=10_000)
    count_found_bad(uid=cast.uid(), line=bad, count=1, at=now - timedelta(days=5), person=technician)
    Label.objects.filter(pk__in=[label.pk for label in labels_mint(count=12, at=now - timedelta(days=7))]).update(
        printed_at=now - timedelta(days=7)
    )


def _suspect(cast: Cast, item: Item, symptom: str, note: str, days: int, person: Person) -> None:
    fault_open(uid=cast.uid(), item=item, symptom=symptom, note=note, at=cast.ago(days, 23), person=person)


def _borrowed(cast: Cast, key: str, name: str, whose: str, at: datetime, give_back_by: Any) -> Item:
    item = item_add(uid=cast.uid(), type=cast.types[key], code=codes.mint(cast.dice.randrange), name=name, at=at)
    return item_borrow(
        item=item, borrowed_from=whose, give_back_by=give_back_by, on=today(at), at=at, person=cast.people["owner"]
    )
