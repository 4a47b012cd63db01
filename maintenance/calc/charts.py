"""Figures over the years as a drawing: which belong in one chart, how far its axes reach, where each point and limit falls.

Across, everything is a share of the width in percent, so that a drawing fits any page; up and down it is pixels.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

from maintenance.calc.bench import Verdict
from maintenance.calc.wiring_words import ohms_words

OHMS = frozenset({"ohm", "Ω", "Ω"})
HEIGHT = 200.0
HEADROOM = 1.3  # a limit is seen with room above it
CLIP = 4.0  # a reading this many times its limit is drawn at the top edge with its number, or it would flatten the rest
FAR_ABOVE = 10.0  # the same where more is better
MOST_SERIES = 4
EDGE_SHARE = 0.03  # of the time shown, left free at both ends so that no point sits on an axis


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One figure of one test: an instant, a value in `unit`, what it was held against, what the test came to.

    `watch` is where a reading stops being watched and fails, when that is another limit than `high`.
    """

    at: datetime
    name: str
    unit: str
    value: float
    low: float | None = None
    high: float | None = None
    watch: float | None = None
    within: bool | None = None
    verdict: str = ""


@dataclass(frozen=True, kw_only=True)
class Series:
    """One figure through the years, oldest first."""

    name: str
    unit: str
    readings: tuple[Reading, ...]

    @property
    def last(self) -> Reading:
        return self.readings[-1]

    @property
    def strain(self) -> float:
        """Return how near its newest reading is to its limit: 1 is on it. 0 without a limit."""
        return strain(self.last)


@dataclass(frozen=True, kw_only=True)
class Chart:
    """Series of one unit that are held against the same limits, the worst first; `left_out` more are not drawn."""

    unit: str
    series: tuple[Series, ...]
    left_out: int = 0

    @property
    def worst(self) -> float:
        """Return how far its readings ever went towards a limit, or past it: what once failed is looked at first."""
        return min(2.0, max(strain(r) for s in self.series for r in s.readings))

    @property
    def first_at(self) -> datetime:
        return min(s.readings[0].at for s in self.series)

    @property
    def last_at(self) -> datetime:
        return max(s.readings[-1].at for s in self.series)


def strain(reading: Reading) -> float:
    """Return how near a reading is to its limit: 1 is on it, more is outside; 0 without a limit."""
    up = reading.value / reading.high if reading.high else 0.0
    if reading.low is not None and reading.value != 0:
        down = (
            reading.low / reading.value
            if reading.low > 0 and reading.value > 0
            else (2.0 if reading.value < reading.low else 0)
        )
        return max(up, down)
    return max(up, 0.0)


def series_of(readings: Iterable[Reading]) -> list[Series]:
    """Gather readings into series by name and unit, each oldest first, in the order the names first came."""
    found: dict[tuple[str, str], list[Reading]] = {}
    for reading in sorted(readings, key=lambda r: r.at):
        if math.isfinite(reading.value):
            found.setdefault((reading.name, reading.unit), []).append(reading)
    return [Series(name=name, unit=unit, readings=tuple(rows)) for (name, unit), rows in found.items()]


def charts_of(readings: Iterable[Reading], *, most: int = MOST_SERIES) -> list[Chart]:
    """Return the charts worth drawing: series of two readings or more, those under one limit together, the one that
    went nearest to its limit, or past it, first. Never more than `most` series in one chart: the worst, the rest counted in
    `left_out`."""
    groups: dict[tuple[str, float | None, float | None], list[Series]] = {}
    for series in series_of(readings):
        if len(series.readings) > 1:
            last = series.last
            groups.setdefault((series.unit, _round(last.low), _round(last.high)), []).append(series)
    charts = []
    for (unit, _low, _high), found in groups.items():
        worst = sorted(found, key=lambda s: (-s.strain, s.name))
        charts.append(Chart(unit=unit, series=tuple(worst[:most]), left_out=max(0, len(found) - most)))
    return sorted(charts, key=lambda c: (-c.worst, -c.series[0].strain, c.series[0].name))


def _round(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.2g}")


@dataclass(frozen=True, kw_only=True)
class Dot:
    """A point of a line: where, its shape by what the test came to, and its words."""

    x: float
    y: float
    shape: str
    over: bool  # drawn at the edge: the true value is beyond it
    words: str


@dataclass(frozen=True, kw_only=True)
class Step:
    """A limit over a stretch of time, level; `below` is how far it is from there to the foot."""

    x: float
    width: float
    y: float
    below: float

    @property
    def end(self) -> float:
        return round(self.x + self.width, 3)


@dataclass(frozen=True, kw_only=True)
class Line:
    """One series drawn: segments (x1, y1, x2, y2) and dots."""

    name: str
    segments: tuple[tuple[float, float, float, float], ...]
    dots: tuple[Dot, ...]
    last: str


@dataclass(frozen=True, kw_only=True)
class Tick:
    """A place along an axis, with its words and its value."""

    at: float
    words: str
    value: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A chart with every place worked out: x in percent of the width, y in pixels down from the top of `height`. The value
    of a tick across is its instant, in seconds."""

    unit: str
    height: float
    foot: float
    top: float
    lines: tuple[Line, ...]
    high: tuple[Step, ...]
    low: tuple[Step, ...]
    watch: tuple[Step, ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    marks: tuple[Tick, ...]


def is_ohms(unit: str) -> bool:
    """Say whether a unit is ohms, however it is written."""
    return unit in OHMS


def figure_words(value: float, unit: str = "") -> str:
    """Write a figure with three meaning digits and its unit, ohms as a meter does: 210 mΩ, 4.70 kΩ, 48.1 V."""
    if is_ohms(unit) and value == 0:
        return "0\u2009Ω"
    if is_ohms(unit):
        return ohms_words(value) if value >= 0 else f"\u2212{ohms_words(-value)}"
    text = (f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}").replace("-", "\u2212")
    return f"{text}\u2009{unit}" if unit else text


def drawing_of(chart: Chart, *, until: datetime, marks: Iterable[tuple[datetime, str]] = (), height: float = HEIGHT) -> Drawing:
    """Work out where everything of a chart falls, from its first test to `until`; `marks` are upright lines with words."""
    begin, end = chart.first_at, max(until, chart.last_at)
    span = max((end - begin).total_seconds(), 86_400.0)
    begin -= timedelta(seconds=span * EDGE_SHARE)
    whole = span * (1 + 2 * EDGE_SHARE)

    def x(at: datetime) -> float:
        return round(100 * (at - begin).total_seconds() / whole, 3)

    foot, top = _reach(chart)

    def y(value: float) -> float:
        return round(height * (1 - (min(max(value, foot), top) - foot) / (top - foot)), 2)

    def steps(limits: list[tuple[datetime, float | None]]) -> tuple[Step, ...]:
        return _steps(
            [(x(at), None if limit is None or not foot <= limit <= top else y(limit)) for at, limit in limits], height
        )

    lines = tuple(_line(series, x, y, foot, top) for series in chart.series)
    longest = max(chart.series, key=lambda s: len(s.readings)).readings
    return Drawing(
        unit=chart.unit,
        height=height,
        foot=foot,
        top=top,
        lines=lines,
        high=steps([(r.at, r.high) for r in longest]),
        low=steps([(r.at, r.low) for r in longest]),
        watch=steps([(r.at, r.watch) for r in longest]),
        across=tuple(Tick(at=x(at), words=words, value=at.timestamp()) for at, words in _days(begin, whole)),
        up=tuple(Tick(at=y(value), words=_rung_words(value, chart.unit, top), value=value) for value in _rungs(foot, top)),
        marks=tuple(Tick(at=x(at), words=words) for at, words in marks if begin <= at <= end),
    )


def _reach(chart: Chart) -> tuple[float, float]:
    """Return where the upright axis begins and ends: from nothing where only too much is bad, round the band where both ways
    are. A reading far beyond its limits does not stretch it: it is drawn at the edge."""
    readings = [r for s in chart.series for r in s.readings]
    values = [r.value for r in readings]
    highs, lows = [r.high for r in readings if r.high is not None], [r.low for r in readings if r.low is not None]
    most, least = max(values), min(values)
    if not lows and least >= 0:
        far = max(highs) * CLIP if highs and max(highs) > 0 else most
        return 0.0, _nice(max(min(most, far), *highs, 0.0) * HEADROOM or 1.0)
    if lows and not highs and min(lows) > 0:
        return 0.0, _nice(max(min(most, max(lows) * FAR_ABOVE), max(lows)) * HEADROOM)
    low, high = min([*lows, *([] if lows else [least])]), max([*highs, *([] if highs else [most])])
    band = max(high - low, abs(high) * 0.02, 1e-9)
    low, high = min(low, max(least, low - CLIP * band)), max(high, min(most, high + CLIP * band))
    free = (high - low or band) * (HEADROOM - 1)
    return (max(low - free, 0.0) if low >= 0 else low - free), high + free


def _nice(value: float) -> float:
    """Round up to a figure an axis can end on."""
    size = 10.0 ** math.floor(math.log10(value))
    return float(
        f"{next(step * size for step in (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if step * size >= value * 0.9999):.6g}"
    )


def _rungs(foot: float, top: float) -> list[float]:
    size = 10.0 ** math.floor(math.log10(top - foot))
    step = next(s * size for s in (0.1, 0.2, 0.25, 0.5, 1, 2, 2.5, 5) if (top - foot) / (s * size) <= 5.001)
    first = math.ceil(foot / step - 1e-9)
    return [float(f"{i * step:.9g}") + 0.0 for i in range(first, math.floor(top / step + 1e-9) + 1)]


def _rung_words(value: float, unit: str, top: float) -> str:
    factor, letter = next(((f, n) for f, n in ((1e9, "G"), (1e6, "M"), (1e3, "k")) if is_ohms(unit) and top >= f), (1.0, ""))
    return f"{value / factor:g}{letter if value else ''}".replace("-", "\u2212")


def _line(series: Series, x, y, foot: float, top: float) -> Line:  # type: ignore[no-untyped-def]
    dots = tuple(
        Dot(
            x=x(r.at),
            y=y(r.value),
            shape="pass" if r.within is not False else ("watch" if r.verdict == Verdict.WATCH else "fail"),
            over=not foot <= r.value <= top,
            words=f"{series.name}: {figure_words(r.value, r.unit)}",
        )
        for r in series.readings
    )
    return Line(
        name=series.name,
        segments=tuple((one.x, one.y, two.x, two.y) for one, two in pairwise(dots)),
        dots=dots,
        last=figure_words(series.last.value, series.unit),
    )


def _steps(limits: list[tuple[float, float | None]], height: float) -> tuple[Step, ...]:
    """Return a limit as level stretches, each from the test it was used in to the next; the first reaches back to the edge,
    the last to the other. None: outside the drawing, or no limit."""
    steps: list[tuple[float, float | None]] = []
    for place, (x, y) in enumerate(limits):
        if not steps or steps[-1][1] != y:
            steps.append((x if place else 0.0, y))
    ends = [start for start, _y in steps[1:]] + [100.0]
    return tuple(
        Step(x=start, width=round(end - start, 3), y=y, below=round(height - y, 2))
        for (start, y), end in zip(steps, ends, strict=True)
        if y is not None and end > start
    )


def _days(begin: datetime, whole_s: float) -> list[tuple[datetime, str]]:
    """Return at most five dates to letter an axis with: years over a long time, months over a shorter, else days."""
    end = begin + timedelta(seconds=whole_s)
    days = whole_s / 86_400
    zone = begin.tzinfo or UTC
    if days > 3 * 366:
        by = -(-(end.year - begin.year) // 5)
        firsts = [date(year, 1, 1) for year in range(begin.year + 1, end.year + 1, max(by, 1))]
        return [(datetime(d.year, d.month, d.day, tzinfo=zone), f"{d.year}") for d in firsts]
    if days > 62:
        months = [date(begin.year + (begin.month - 1 + i) // 12, (begin.month - 1 + i) % 12 + 1, 1) for i in range(1, 40)]
        inside = [m for m in months if m <= end.date()]
        by = max(1, -(-len(inside) // 5))
        chosen = inside[::by]
        # the year stands once for all its months, so that five of them fit beside each other on a phone
        years = [True, *(one.year != two.year for one, two in pairwise(chosen))]
        return [
            (datetime(d.year, d.month, d.day, tzinfo=zone), f"{d:%b} {d.year}" if year else f"{d:%b}")
            for d, year in zip(chosen, years, strict=True)
        ]
    by = max(1, round(days / 4))
    firsts = [(begin + timedelta(days=1 + i * by)).date() for i in range(5)]
    return [
        (datetime(d.year, d.month, d.day, tzinfo=zone), f"{d.day} {d:%b}")
        for d in firsts
        if datetime(d.year, d.month, d.day, tzinfo=zone) <= end
    ]
