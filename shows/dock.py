"""What the dock knows: the shows near now, the one chosen on this device and its way, the running count, and what a code is."""

import hashlib
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import F, OuterRef, Q, Subquery
from django.http import HttpRequest
from django.utils.timezone import localtime

from company.templatetags.tape import clock, metres
from company.templatetags.tape import day as day_words
from inventory.calc.codes import Read, parse
from inventory.calc.excepts import dead_words
from inventory.calc.kinds import STANDING_WORDS, WHERE_LIFTED, WHERE_WORDS, Kind, Standing, Where
from inventory.models import CaseCount, CountedLine, Item
from maintenance.cells_back import ran_on_cells
from maintenance.minding import call_short, ran_out_words, with_call
from shows.calc.direction import NEAR_AFTER, NEAR_BEFORE, WAY_WORDS, Step, Times, Way, distance, guess, steps
from shows.calc.words import ShowState
from shows.crew import show_of
from shows.doubts import doubts_of
from shows.models import PullRow, Scan, Show
from shows.progress import PullLine, pull_progress

SHOW_COOKIE, WAY_COOKIE, BAG_COOKIE = "dock_show", "dock_way", "dock_bag"
SHOW_COOKIE_AGE = 60 * 60 * 24 * 4
WAY_COOKIE_AGE = 60 * 60 * 3  # a turned way holds for a loading, then the times are asked again
WHATEVER = "0"
LAST = 10
NEAR_SHOWS = 40
STILL_NAMED = 6
FACTS = "type__case_facts"  # says whether a case is a bench bag
SNAPSHOT_ITEMS = 5_000


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What this device is scanning for: a show (None: whatever show, back only), a way, and whether the way was guessed."""

    show: Show | None
    way: Way
    guessed: bool
    why: str
    under: str

    @property
    def word(self) -> str:
        return WAY_WORDS[self.way]

    @property
    def named(self) -> str:
        return self.show.name if self.show else "Whatever show"


@dataclass(frozen=True, kw_only=True)
class Run:
    """How far along: `done` of `total`, in words, and what is still to come."""

    done: int = 0
    total: int = 0
    words: str = ""
    still: str = ""


@dataclass(frozen=True, kw_only=True)
class Known:
    """What a code is, as a device shows it."""

    code: str
    name: str
    standing: str = ""
    says: str = ""
    where: str = ""
    lifted: str = ""
    show: int | None = None
    case: str = ""
    is_case: bool = False
    is_bag: bool = False
    cells: bool = False  # ran on its cells at a show these days
    jack: bool = False  # a lead left in its input keeps it on
    powered: bool = False  # it has places for cells
    minded: bool = False  # somebody should look at it, or into it, before it goes
    inside: int = 0
    contents: list[tuple[str, str]] = field(default_factory=list)
    counted: list[str] = field(default_factory=list)

    def as_json(self) -> dict[str, Any]:
        answer: dict[str, Any] = {"code": self.code, "name": self.name, "standing": self.standing, "says": self.says}
        answer |= {"where": self.where, "show": self.show, "case": self.case}
        if self.is_case:
            answer |= {"inside": self.inside, "contents": self.contents, "counted": self.counted}
        if self.is_bag:
            answer["bag"] = True
        if self.minded:
            answer["minded"] = True
        if self.cells:
            answer |= {"cells": True, "jack": self.jack}
        return answer


def times_of(show: Show) -> Times:
    return Times(load_in=show.load_in, end=show.end, strike=show.strike, home_by=show.home_by)


def near_shows(at: datetime) -> list[Show]:
    """Return the shows a hand could mean now, the nearest first: one range of the home-by index."""
    found = Show.objects.filter(
        state=ShowState.PLANNED, home_by__gte=at - NEAR_AFTER, load_in__lte=at + NEAR_BEFORE
    ).select_related("venue")[:NEAR_SHOWS]
    return sorted(found, key=lambda show: (distance(times_of(show), at), show.load_in, show.pk))


def near_of(request: HttpRequest, at: datetime) -> list[Show]:
    """Return the shows this request could mean: on a crew pass its own alone."""
    only = show_of(request)
    return near_shows(at) if only is None else [only]


def under_words(show: Show | None, way: Way, at: datetime) -> str:
    """Say the instant that matters for a way: loads 11:30, strike Sat 22:00, home by 01:30."""
    if show is None:
        return "back to the shop"
    word, instant = {
        Way.OUT: ("loads", show.load_in),
        Way.TRUCK: ("strike", show.strike),
        Way.BACK: ("home by", show.home_by),
    }[way]
    if abs(instant - at) >= timedelta(hours=18):
        return f"{word} {day_words(instant)}"
    day = "" if localtime(instant).date() == localtime(at).date() else f"{localtime(instant):%a} "
    return f"{word} {day}{clock(instant)}"


def choice_of(request: HttpRequest, at: datetime, near: list[Show]) -> Choice | None:
    """Return what this device scans for, from its memory or the only near show; None when a person must choose."""
    asked = request.GET.get("show") or request.COOKIES.get(SHOW_COOKIE, "")
    turned_to = request.GET.get("way") or request.COOKIES.get(WAY_COOKIE, "")
    only = show_of(request)
    if only is not None:
        return choice_made(only, turned_to, at)
    if asked == WHATEVER:
        return choice_made(None, "", at)
    show = next((s for s in near if str(s.pk) == asked), None)
    if show is None and asked.isascii() and asked.isdigit() and len(asked) < 16:
        show = Show.objects.live().filter(pk=int(asked)).first()
    if show is None:
        if len(near) > 1:
            return None
        show = near[0] if near else None
    return choice_made(show, turned_to, at)


def choice_made(show: Show | None, turned_to: str, at: datetime) -> Choice:
    """Put a show and a turned way together; no turned way means the times are asked."""
    if show is None:
        return Choice(show=None, way=Way.BACK, guessed=False, why="", under=under_words(None, Way.BACK, at))
    step: Step = guess(times_of(show), at)
    way = Way(turned_to) if turned_to in set(Way) else step.way
    return Choice(show=show, way=way, guessed=turned_to not in set(Way), why=step.why, under=under_words(show, way, at))


def show_as_json(show: Show, at: datetime) -> dict[str, Any]:
    """Return a show with its ways by instant, so that a device without signal turns by itself."""
    return {
        "id": show.pk,
        "name": show.name,
        "ways": [[step.since.isoformat() if step.since else None, step.way, step.why] for step in steps(times_of(show))],
        "under": {way: under_words(show, way, at) for way in Way},
    }


def progress_of(show: Show | None, day: date) -> list[PullLine] | None:
    """Return the chosen show's pull list with its progress; None for whatever show. Three queries."""
    return pull_progress(show, day=day) if show else None


def run_of(lines: list[PullLine] | None, way: Way, show: Show | None = None) -> Run:
    """Count what the way asks for: pulled of wanted, surely on the truck of out, back of gone. `show` tells of doubts."""
    if lines is None:
        return Run()
    if way == Way.OUT:
        pairs = [(line, min(line.wanted, line.out), line.wanted) for line in lines]
        words, lead = "on the list", "Still to pull"
        if beyond := sum(line.over for line in lines):
            words += f", {beyond} out beyond it"
    elif way == Way.TRUCK:
        pairs = [(line, line.truck, sum(i.state in {"out", "truck"} for i in line.items)) for line in lines]
        # what is only counted is never scanned onto a truck
        words = "labelled on the truck" if any(line.counted_out for line in lines) else "on the truck"
        lead = "Still in the room"
    else:
        pairs = [(line, line.back, line.went) for line in lines]
        words, lead = "back", "Not seen yet"
    done, total = sum(p[1] for p in pairs), sum(p[2] for p in pairs)
    doubts = doubts_of(show) if way == Way.TRUCK and done else []
    doubtful = sum(len(doubt.items) for doubt in doubts)
    lacking = [(total - done, line) for line, done, total in pairs if total > done]
    named = ", ".join(_lacking_words(count, line) for count, line in lacking[:STILL_NAMED])
    more = f" and {len(lacking) - STILL_NAMED} more kinds" if len(lacking) > STILL_NAMED else ""
    if not total:
        still = "Nothing is on this pull list yet." if way == Way.OUT else "Nothing of this show is out."
    else:
        still = f"{lead}: {named}{more}" if named else "That is everything."
    if doubts:
        look = f"Look inside {'; '.join(doubt.words for doubt in doubts)}."
        still = f"{look} {still}" if named else look
        words = f"{words}, {doubtful} to look at"
    return Run(done=done - doubtful, total=total, words=f"of {total} {words}", still=still)


def _lacking_words(count: int, line: PullLine) -> str:
    # a word begins small inside a sentence; TS or XLR keeps its capitals
    name = line.name if line.name[1:2].isupper() else line.name[:1].lower() + line.name[1:]
    return name if count == 1 else f"{count}\u00a0×\u00a0{name}"


def standing_says(item: Item) -> str:
    """Say an item's standing with its day, and its dead channels: known good until Fri 4 Dec; good except 14: nothing on
    14. Needs `described()`."""
    said, dead = _standing_alone(item), dead_words(item.excepts)
    if item.standing in (Standing.SUSPECT, Standing.RETIRED):
        return said
    if call := call_short(item):
        said = call if item.standing == Standing.TEST_DUE else f"{call}; {said}"
    if not dead:
        return said
    return f"{said}{':' if item.standing == Standing.GOOD_EXCEPT else ','} {dead}"


def _small(sentence: str) -> str:
    return f"{sentence[:1].lower()}{sentence[1:]}"


def _standing_alone(item: Item) -> str:
    standing = item.standing
    if standing == Standing.KNOWN_GOOD:
        return f"known good until {day_words(item.test_by)}" if item.test_by else f"known good, {day_words(item.tested_on)}"
    if standing == Standing.SUSPECT:
        return f"suspect since {day_words(item.suspect_since)}"
    if standing == Standing.TEST_DUE and not getattr(item, "called_why", None):
        return _small(ran_out_words(item))
    if standing == Standing.GOOD_EXCEPT:
        return f"good except {item.excepts}"
    if standing == Standing.RETIRED:
        return f"retired {day_words(item.retired_on)}"
    return STANDING_WORDS[Standing(standing)]


def known_items(codes: Iterable[str], day: date) -> dict[str, Known]:
    """Say what many codes are, aliases too, with the contents of cases: four queries however many."""
    wanted = {code for code in codes if code}
    described = with_call(Item.objects.described(day)).select_related(FACTS, "type__box_facts")
    items = list(described.filter(labels__code__in=wanted).annotate(read_as=F("labels__code")))
    ran = ran_on_cells([item.pk for item in items if item.type.bays], day)
    return {
        item.read_as: replace(known, cells=item.pk in ran, jack=item.pk in ran and _switched_by_jack(item))
        for item, known in zip(items, known_of(items, day), strict=True)
    }


def _switched_by_jack(item: Item) -> bool:
    facts = getattr(item.type, "box_facts", None)
    return facts is not None and facts.switched_by_input_jack


def known_of(items: Sequence[Item], day: date) -> list[Known]:
    """Describe items that came through `described()`; two queries more when cases are among them."""
    cases = {item.pk for item in items if item.type.kind == Kind.CASE}
    contents: dict[int, list[tuple[str, str]]] = {}
    suspect: dict[int, list[str]] = {}
    first: dict[int, list[str]] = {}
    counted: dict[int, list[tuple[int, str]]] = {}
    if cases:
        held = with_call(Item.objects.owned().filter(in_case__in=cases)).select_related("type").order_by("type__name", "name")
        for inside in held:
            contents.setdefault(inside.in_case_id or 0, []).append((inside.code, inside.label))
            if inside.suspect_since:
                suspect.setdefault(inside.in_case_id or 0, []).append(inside.label)
            elif call_short(inside) or (inside.test_by and inside.test_by <= day and inside.type.has_standing):
                first.setdefault(inside.in_case_id or 0, []).append(inside.label)
        for case, count, label in _counts_in(cases):
            counted.setdefault(case, []).append((count, label))
    return [
        Known(
            code=item.code,
            name=item.label,
            standing=item.standing,
            says=_case_says(item, suspect.get(item.pk, []), first.get(item.pk, []))
            if item.pk in cases
            else standing_says(item),
            minded=_is_minded(item, bool(suspect.get(item.pk) or first.get(item.pk))),
            where=WHERE_WORDS[Where(item.where)],
            lifted=WHERE_LIFTED.get(Where(item.where), ""),
            show=item.custody_show,
            case=item.in_case.label if item.in_case else "",
            is_case=item.pk in cases,
            is_bag=item.pk in cases and is_bench_bag(item),
            powered=item.type.bays > 0,
            inside=len(contents.get(item.pk, [])),
            contents=contents.get(item.pk, []),
            counted=[f"{count} {label}" for count, label in counted.get(item.pk, []) if count],
        )
        for item in items
    ]


def _case_says(case: Item, suspect: list[str], first: list[str]) -> str:
    """Say what is suspect in a case, and what is to be tested before it goes; of a bench bag that is what it is for."""
    if is_bench_bag(case):
        return ""
    parts = (("suspect in it", suspect), ("to test first", first))
    return "; ".join(f"{word}: {_first_names(names)}" for word, names in parts if names)


def _is_minded(item: Item, of_its_contents: bool) -> bool:
    return of_its_contents or bool(call_short(item)) or item.standing in (Standing.TEST_DUE, Standing.GOOD_EXCEPT)


def _first_names(names: list[str]) -> str:
    return f"{', '.join(names[:3])}{f' and {len(names) - 3} more' if len(names) > 3 else ''}"


def _counts_in(cases: set[int]) -> list[tuple[int, int, str]]:
    newest = CaseCount.objects.filter(case=OuterRef("case"), line=OuterRef("line")).order_by("-effective_at", "-uid")
    rows = CaseCount.objects.filter(case__in=cases, pk=Subquery(newest.values("pk")[:1])).select_related("line__type")
    return [(row.case_id, row.count, f"{row.line.type.name} {metres(row.line.length_mm)}".strip()) for row in rows]


def snapshot_items(near: list[Show], day: date) -> tuple[list[Item], bool]:
    """Return what a device should know by heart, and whether that is everything: what is out, pulled by near shows, cases
    and what lies in them, at most SNAPSHOT_ITEMS."""
    owned = with_call(Item.objects.described(day)).filter(gone_home_on=None).select_related(FACTS)
    everything = list(owned.order_by("pk")[: SNAPSHOT_ITEMS + 1])
    if len(everything) <= SNAPSHOT_ITEMS:
        return everything, True
    keys = [show.pk for show in near]
    pulled = PullRow.objects.filter(show__in=keys).values("type")
    chosen = owned.filter(Q(custody_show__in=keys) | Q(type__in=pulled) | Q(type__kind=Kind.CASE))
    return list(chosen.order_by(F("custody_show").desc(nulls_last=True), "pk")[:SNAPSHOT_ITEMS]), False


def is_bench_bag(item: Item) -> bool:
    """Say whether whatever goes in a thing is suspect. Needs `type__case_facts`."""
    facts = getattr(item.type, "case_facts", None)
    return facts is not None and facts.bench_bag


def bag_of(text: str) -> Item | None:
    """Return the bench bag a text is the label of, if it is one. No query for what is no code."""
    read = parse(text)
    if read.read != Read.CODE:
        return None
    return Item.objects.filter(labels__code=read.code, type__case_facts__bench_bag=True).select_related("type").first()


def page_device(request: HttpRequest) -> str:
    """Name this browser's page as a device without telling its session key."""
    if not request.session.session_key:
        request.session.save()
    return "page:" + hashlib.sha256(str(request.session.session_key).encode()).hexdigest()[:24]


@dataclass(frozen=True, kw_only=True)
class Past:
    """One of the last scans, as a strip: what was read, what it was told, whether it was taken back since."""

    scan: Scan
    name: str
    known: Known | None
    undone: bool

    @property
    def is_foreign(self) -> bool:
        return self.name == FOREIGN

    @property
    def read(self) -> str:
        """Return what was read of a label that is not ours, short enough for a strip."""
        text = self.scan.code_text.strip()
        return text if len(text) <= 40 else f"{text[:39]}…"

    @property
    def end(self) -> str:
        scan = self.scan
        if scan.counted is not None:
            return f"{scan.counted} counted"
        return scan.code and f"{scan.code[:4]}-{scan.code[4:]}"


FOREIGN = "Not one of our labels"


def _read_as(scan: Scan, lines: dict[int, str]) -> str:
    """Name what was scanned and is no thing on record: a counted line, a channel, a label of somebody else's."""
    read = parse(scan.code_text)
    if read.read == Read.COUNTED and read.number in lines:
        return lines[read.number]
    if read.read == Read.CHANNEL:
        return f"Channel {read.channel}"
    if read.read == Read.NOTHING:
        return FOREIGN if scan.code_text.strip() else "Nothing read"
    return scan.code_text.strip()[:40]


def last_scans(device: str, day: date) -> list[Past]:
    """Return a device's last ten scans, newest first, undos left out but their effect shown; a case that was given its count
    (`scan_counted`) is one scan, not one undone and one more."""
    scans = list(Scan.objects.filter(device=device).exclude(action="undo").order_by("-received_at", "-pk")[:LAST])
    undone = dict(Scan.objects.filter(undoes__in=[s.uid for s in scans]).values_list("undoes", "uid"))
    made_again = {uuid.uuid5(s.uid, "undo") for s in scans}
    scans = [s for s in scans if undone.get(s.uid) not in made_again]
    known = known_items([s.code for s in scans], day) if scans else {}
    numbers = {scan.uid: parse(scan.code_text).number for scan in scans if scan.counted is not None and not scan.code}
    lines = {line.pk: line.label for line in CountedLine.objects.select_related("type").filter(pk__in=set(numbers.values()))}
    return [
        Past(
            scan=scan,
            name=known[scan.code].name if scan.code in known else _read_as(scan, lines),
            known=known.get(scan.code),
            undone=scan.uid in undone,
        )
        for scan in scans
    ]
