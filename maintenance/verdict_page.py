"""What a verdict's page shows: readings as a grid or by channel, a box's steps on their scales, where to look first."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from company.templatetags.tape import day as day_words
from inventory.calc.excepts import dead_channels
from maintenance.bench_subject import Subject
from maintenance.calc.bench import PairReading, Verdict
from maintenance.calc.bench_typed import shown as reading_shown
from maintenance.calc.steps import between, said
from maintenance.calc.wirings import pin_words
from maintenance.models import BenchTest, Repair
from maintenance.querysets import standing_repairs

MOST_IN_GRID = 9  # pins an end; more are listed by channel or by pair
RECENT = timedelta(days=400)  # a repair older than that says nothing of where to look
TROUBLE_WORDS = {"open": "open", "wrong": "not here", "short": "short", "high": "too high"}


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One reading: what it shows, whether a wire belongs there, the word where it disagrees; `bent`: read while bent alone."""

    shown: str
    want: bool = False
    word: str = ""
    bent: bool = False


@dataclass(kw_only=True)
class Grid:
    """Readings between two ends, pin by pin."""

    columns: list[str]
    rows: list[tuple[str, list[Cell]]]


@dataclass(frozen=True, kw_only=True)
class Line:
    """One reading of a list: which pins, what it shows, the word where it disagrees."""

    pins: str
    cell: Cell


@dataclass(kw_only=True)
class Channel:
    """The readings of one channel that is not as wired."""

    name: str
    lines: list[Line] = field(default_factory=list)


@dataclass(kw_only=True)
class Readings:
    """All readings of a lead's test, laid out for the page."""

    grids: list[Grid] = field(default_factory=list)
    channels: list[Channel] = field(default_factory=list)
    fine: str = ""
    lines: list[Line] = field(default_factory=list)
    bent: list[Line] = field(default_factory=list)
    rest: list[Line] = field(default_factory=list)

    @property
    def any(self) -> bool:
        return bool(self.grids or self.channels or self.lines or self.rest or self.bent or self.fine)


def pairs_of(test: BenchTest) -> tuple[PairReading, ...]:
    """Return the readings stored with a test, as the computing takes them."""
    return tuple(
        PairReading(
            a=pair["from"],
            b=pair["to"],
            ohms=pair.get("ohms"),
            beep=pair.get("beep"),
            above_ohms=pair.get("above_ohms"),
            flexed=bool(pair.get("flexed")),
        )
        for pair in test.readings.get("pairs", ())
    )


def readings_of(wiring: Any, pairs: Iterable[PairReading], joins: Iterable[Any]) -> Readings:
    """Lay readings out: a grid for each pair of small ends, the channels in trouble for a multicore, a list for the rest."""
    from maintenance.calc.wiring_layout import named
    from maintenance.calc.wirings import Expect

    kinds = {frozenset((join.a, join.b)): str(join.kind) for join in joins}
    pairs = list(pairs)
    still = {frozenset((p.a, p.b)): p for p in pairs if not p.flexed}
    flexed = {frozenset((p.a, p.b)): p for p in pairs if p.flexed}
    bent = [_line(pair, _cell(pair, kinds, want=True)) for key, pair in flexed.items() if key in still]
    read = flexed | still  # what was read while bent alone stands in its own place, and says so

    def cell(a: str, b: str) -> Cell:
        pair = frozenset((a, b))
        want = wiring.expected(a, b).kind in {Expect.JOINED, Expect.RESISTOR}
        return _cell(read[pair], kinds, want=want, alone=True) if pair in read else Cell(shown="", want=want)

    out = Readings(bent=bent)
    channels = {pin: wiring.channel_index[place] for place, pin in enumerate(wiring.pins)}
    if len({c for c in channels.values() if c is not None}) > 1 and len(wiring.pins) > 2 * MOST_IN_GRID:
        _by_channel(out, wiring, channels, read, cell, named)
        return out
    ends = [[pin for place, pin in enumerate(wiring.pins) if wiring.end_index[place] == end] for end in range(len(wiring.ends))]
    small = len(ends) > 1 and all(len(pins) <= MOST_IN_GRID for pins in ends)
    placed: set[frozenset[str]] = set()
    if small:
        for other in ends[1:]:
            touched = {frozenset((a, b)) for a in ends[0] for b in other}
            if not touched & read.keys():
                continue
            placed |= touched
            rows = [a for a in ends[0] if any(frozenset((a, b)) in read for b in other) or not a.endswith("sh")]
            columns = [b for b in other if any(frozenset((a, b)) in read for a in ends[0]) or not b.endswith("sh")]
            grid_rows = [(pin_words(a), [cell(a, b) for b in columns]) for a in rows]
            out.grids.append(Grid(columns=[pin_words(b) for b in columns], rows=grid_rows))
    left = [(key, pair) for key, pair in read.items() if key not in placed]
    target = out.rest if small else out.lines
    for _key, pair in left:
        one = cell(pair.a, pair.b)
        (target if one.want or one.word or small else out.rest).append(_line(pair, one))
    return out


def _by_channel(out: Readings, wiring: Any, channels: Mapping[str, Any], read: Any, cell: Any, named: Any) -> None:
    seen: dict[int, list[Line]] = {}
    bad: set[int] = set()
    for pair in read.values():
        channel = channels[pair.a] if channels[pair.a] is not None else channels[pair.b]
        one = cell(pair.a, pair.b)
        if channel is None or not (one.want or one.word):
            if one.want or one.word:
                out.lines.append(_line(pair, one))
            continue
        seen.setdefault(channel, []).append(_line(pair, one))
        if one.word:
            bad |= {c for c in (channels[pair.a], channels[pair.b]) if c is not None}
    for channel in sorted(bad):
        out.channels.append(Channel(name=f"Channel {wiring.channel_words(channel)}", lines=seen.get(channel, [])))
    fine = sorted(seen.keys() - bad)
    if fine:
        words = named(fine, wiring.sends)
        out.fine = f"{words[:1].upper()}{words[1:]}: every wire reads as it should."
    others = len(read) - sum(len(lines) for lines in seen.values()) - len(out.lines)
    if others > 0:
        out.fine = f"{out.fine} {others} other pairs read open, as they should.".strip()


def _cell(pair: PairReading, kinds: Mapping[frozenset[str], str], *, want: bool, alone: bool = False) -> Cell:
    word = TROUBLE_WORDS.get(kinds.get(frozenset((pair.a, pair.b)), ""), "")
    if word == "not here" and want:
        word = ""
    shown = reading_shown(ohms=pair.ohms, beep=pair.beep, above_ohms=pair.above_ohms)
    return Cell(shown=shown, want=want, word=word, bent=alone and pair.flexed)


def _line(pair: PairReading, cell: Cell) -> Line:
    return Line(pins=f"{pin_words(pair.a)} to {pin_words(pair.b)}", cell=cell)


@dataclass(frozen=True, kw_only=True)
class Scale:
    """A number on its range, in percent of the drawing's width."""

    low: float
    width: float
    at: float
    open_left: bool
    open_right: bool
    told: str


@dataclass(frozen=True, kw_only=True)
class StepRow:
    """One step as it was answered: the figure or the word, whether it is within its limits, its scale."""

    title: str
    shown: str
    range: str = ""
    within: bool | None = None
    scale: Scale | None = None


def steps_of(test: BenchTest, subject: Subject, steps: Iterable[Any]) -> list[StepRow]:
    """Return a box's answers in the order they were given, each against the limits it was held against then."""
    figures = {figure.name: figure for figure in test.figures.all()}
    by_key = {step.key: step for step in steps}
    rows = []
    for answer in test.readings.get("steps", ()):
        step = by_key.get(answer["step"])
        name = step.name if step else answer["step"].replace("-", " ").replace("_", " ").capitalize()
        figure = figures.get(name[:60])
        if figure is not None:
            rows.append(
                StepRow(
                    title=name,
                    shown=said(figure.value, figure.unit),
                    range=between(figure.low, figure.high, figure.unit),
                    within=figure.within,
                    scale=scale_of(figure.value, figure.low, figure.high, figure.unit),
                )
            )
        elif "value" in answer:
            rows.append(StepRow(title=name, shown=said(answer["value"], step.unit if step else "")))
        else:
            yes = bool(answer.get("yes"))
            over = step is not None and step.unit and not yes
            within = None if step is None or step.wanted is None else yes == step.wanted
            rows.append(StepRow(title=name, shown="over the meter’s range" if over else "yes" if yes else "no", within=within))
    return rows


def scale_of(value: float, low: float | None, high: float | None, unit: str) -> Scale | None:
    """Place a value and its range between 0 and 100; None where there is no range."""
    if low is None and high is None:
        return None
    marks = [x for x in (value, low, high) if x is not None]
    least, most = min(marks), max(marks)
    span = (most - least) or abs(most) or 1.0
    least, most = least - 0.18 * span, most + 0.18 * span
    if low is None and least < 0 <= min(marks):
        least = 0.0

    def at(x: float) -> float:
        return round(100 * (x - least) / (most - least), 2)

    start = 0.0 if low is None else at(low)
    end = 100.0 if high is None else at(high)
    told = f"{said(value, unit)}, expected {between(low, high, unit)}"
    return Scale(low=start, width=end - start, at=at(value), open_left=low is None, open_right=high is None, told=told)


@dataclass(frozen=True, kw_only=True)
class Since:
    """What became of a thing after a test: a sentence and where it leads, and the one step that is to be done now."""

    says: str = ""
    url: str = ""
    step: str = ""
    step_url: str = ""


CAME_TO = {
    Verdict.PASS: "It has passed since, on {}",
    Verdict.WATCH: "It has passed since, to be watched, on {}",
    Verdict.FAIL: "It has failed since, on {}",
    Verdict.CANNOT_TELL: "It was measured since, without a verdict, on {}",
}


def since_of(test: BenchTest, subject: Subject, *, mend: str, mend_words: str, again: str, next_scan: str) -> Since:
    """Return what is to be done about a test that counts, as its thing stands now: an old fail that was mended asks nothing."""
    item, newer, verdict = subject.item, subject.last, Verdict(test.verdict)
    says, url = "", ""
    if newer is not None and newer.pk != test.pk and newer.done_at >= test.done_at:
        says, url = CAME_TO[Verdict(newer.verdict)].format(day_words(newer.done_at)), newer.get_absolute_url()
    if item.retired_on or item.gone_home_on:
        gone = "It is retired" if item.retired_on else "It has gone home"
        return Since(says=gone, url=item.get_absolute_url())
    dead = set(test.dead_channels) & dead_channels(item.excepts)
    if verdict == Verdict.FAIL and (item.suspect_since or dead):
        mended = standing_repairs().filter(item=item, done_at__gte=newer.done_at if says and newer else test.done_at)
        repair = mended.order_by("-done_at", "-pk").first()
        if repair is not None:
            words = f"It was repaired since, on {day_words(repair.done_at)}"
            return Since(says=words, url=item.get_absolute_url(), step="Test it again", step_url=again)
        return Since(says=says, url=url, step=mend_words, step_url=mend)
    if says:
        return Since(says=says, url=url)
    if verdict == Verdict.FAIL:
        seen_to = test.faults_found.exclude(closed_at=None).select_related("closed_by").order_by("-closed_at").first()
        if seen_to is None or seen_to.closed_at is None:
            return Since(step=mend_words, step_url=mend)
        who = f" by {seen_to.closed_by}" if seen_to.closed_by else ""
        words = f"It was seen to{who} on {day_words(seen_to.closed_at)}: {seen_to.closed_how.rstrip('.')}"
        return Since(says=words, url=item.get_absolute_url())
    if verdict == Verdict.CANNOT_TELL:
        return Since(step="Measure it again", step_url=again)
    return Since(step="Scan the next", step_url=next_scan)


def where_to_look(test: BenchTest) -> Repair | None:
    """Return the newest repair before a test that says which end was opened: what was touched last is looked into first."""
    since = test.done_at - RECENT
    repairs = standing_repairs().filter(item=test.item_id, done_at__lte=test.done_at, done_at__gte=since).exclude(end="")
    return repairs.order_by("-done_at", "-pk").first()
