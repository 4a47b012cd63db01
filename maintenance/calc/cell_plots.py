"""Curves of cells as drawings: volts and hours left of a set, a type's curve and capacity, a labelled set as it ages.

Every place is in the drawing's own units, so that a page only draws.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, floor, log10

from maintenance.calc.cell_chart import CurvePoint
from maintenance.calc.cost_plot import Tick, nice_step

WIDTH = 720
LEFT, RIGHT, TOP, BOTTOM = 58, 18, 30, 46
XY = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Dot:
    """A point that was measured."""

    x: float
    y: float
    words: str
    off: bool = False  # what came later says it cannot be


@dataclass(frozen=True, kw_only=True)
class Rule:
    """A level line with its words: what a show needs, where the device stops."""

    y: float
    words: str
    word_y: float


@dataclass(frozen=True, kw_only=True)
class Post:
    """An upright line with its words: now, where an earlier set came out; `css` says which."""

    x: float
    words: str
    css: str
    at_right: bool  # its words stand to its left, or they would leave the drawing


@dataclass(frozen=True, kw_only=True)
class Plot:
    """A drawing with every place worked out. `band` and curves are path data."""

    up: tuple[Tick, ...]
    across: tuple[Tick, ...]
    unit_up: str
    unit_across: str
    height: int
    foot: float
    band: str = ""
    curves: tuple[tuple[str, str], ...] = ()
    dots: tuple[Dot, ...] = ()
    rules: tuple[Rule, ...] = ()
    posts: tuple[Post, ...] = ()
    span: tuple[float, float] | None = None
    words: str = ""
    width: int = WIDTH
    left: int = LEFT
    right: int = WIDTH - RIGHT
    top: int = TOP

    @property
    def span_width(self) -> float:
        """Return how wide the stretch is that a show asks for."""
        return round(self.span[1] - self.span[0], 1) if self.span else 0.0

    @property
    def tall(self) -> float:
        """Return how tall the drawing is between its axes."""
        return self.foot - self.top


def plot_of(
    *,
    curves: Sequence[tuple[str, Sequence[XY]]],
    low: Sequence[XY] = (),
    high: Sequence[XY] = (),
    dots: Sequence[tuple[float, float, str]] = (),
    rules: Sequence[tuple[float, str]] = (),
    posts: Sequence[tuple[float, str, str]] = (),
    span: XY | None = None,
    least: float | None = None,
    unit_up: str = "",
    unit_across: str = "",
    log_across: bool = False,
    height: int = 270,
    words: str = "",
) -> Plot:
    """Lay a drawing out: `curves` as (how it is drawn, points), a band from `low` to `high`, dots, level and upright lines.

    `least` is where the upright axis begins; none: a little under what is drawn. `span` is a stretch across (a show's need).
    """
    points = [p for _css, line in curves for p in line] + [*low, *high] + [(x, y) for x, y, _words in dots]
    across = [x for x, _y in points] + [x for x, _w, _c in posts] + list(span or ())
    ups = [y for _x, y in points] + [y for y, _w in rules]
    foot_v, top_v = (min(ups) if least is None else least), max(ups)
    room = (top_v - foot_v) * 0.08 or abs(top_v) * 0.1 or 1.0
    top_v, foot_v = top_v + room, foot_v if least is not None else foot_v - room
    foot = float(height - BOTTOM)
    place = _log_place(across) if log_across else _place(across)

    def x(value: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * place(value), 1)

    def y(value: float) -> float:
        return round(foot - (foot - TOP) * (value - foot_v) / (top_v - foot_v), 1)

    def path(line: Sequence[XY]) -> str:
        return "M" + "L".join(f"{x(a):g} {y(b):g}" for a, b in line) if line else ""

    back = [*reversed(high)]
    step = nice_step(top_v - foot_v)
    first = ceil(foot_v / step - 1e-9)
    levels = [n * step for n in range(first, floor(top_v / step + 1e-9) + 1)]
    ticks = _decades(across) if log_across else _steps(across)
    return Plot(
        up=tuple(Tick(at=y(v), words=f"{v:.4g}") for v in levels),
        across=tuple(Tick(at=x(v), words=f"{v:.4g}") for v in ticks),
        unit_up=unit_up,
        unit_across=unit_across,
        height=height,
        foot=foot,
        band=f"{path(low)}L{path(back)[1:]}Z" if low and high else "",
        curves=tuple((css, path(line)) for css, line in curves if line),
        dots=tuple(Dot(x=x(a), y=y(b), words=said) for a, b, said in dots),
        rules=tuple(Rule(y=y(v), words=said, word_y=y(v) - 7 if y(v) > TOP + 26 else y(v) + 20) for v, said in rules),
        posts=tuple(
            Post(x=x(v), words=said, css=css, at_right=place(v) > 0.72) for v, said, css in sorted(posts, key=lambda p: p[0])
        ),
        span=(x(span[0]), x(span[1])) if span else None,
        words=words,
    )


def _place(values: Sequence[float]):  # type: ignore[no-untyped-def]
    low, high = min(0.0, *values), max(values) or 1.0
    return lambda value: (value - low) / (high - low)


def _log_place(values: Sequence[float]):  # type: ignore[no-untyped-def]
    low, high = log10(min(values)), log10(max(values))
    wide = (high - low) or 1.0
    return lambda value: (log10(value) - low) / wide


def _steps(values: Sequence[float]) -> list[float]:
    most = max(values) or 1.0
    step = nice_step(most)
    return [n * step for n in range(floor(most / step + 1e-9) + 1)]


def _decades(values: Sequence[float]) -> list[float]:
    low, high = min(values), max(values)
    steps = [m * 10.0**d for d in range(floor(log10(low)), ceil(log10(high)) + 1) for m in (1, 2, 5)]
    return [v for v in steps if low * 0.999 <= v <= high * 1.001]


@dataclass(frozen=True, kw_only=True)
class SetPicture:
    """What a set's two drawings show, in hours used. `ends`: hours at which earlier sets came out, with words and whether they
    died; `need_h` from `now_h` on. `readings`: (hours used, volts, words)."""

    points: tuple[CurvePoint, ...]
    now_h: float
    readings: tuple[tuple[float, float, str], ...] = ()
    ends: tuple[tuple[float, str, bool], ...] = ()
    need_h: float | None = None
    need_words: str = ""
    stops_v: float | None = None
    doubted: tuple[int, ...] = ()  # of the readings, by their place
    doubt: str = ""

    @property
    def has_volts(self) -> bool:
        return any(p.volts is not None for p in self.points)


def volts_plot(picture: SetPicture) -> Plot | None:
    """Draw volts under the device's load over hours used, with its band and readings; none for a kind without a curve."""
    if not picture.has_volts:
        return None
    known = [p for p in picture.points if p.volts is not None]
    rules = [(picture.stops_v, "it stops here")] if picture.stops_v else []
    plot = plot_of(
        curves=[("likely", [(p.hours, p.volts or 0.0) for p in known])],
        low=[(p.hours, p.volts_low or 0.0) for p in known],
        high=[(p.hours, p.volts_high or 0.0) for p in known],
        dots=picture.readings,
        rules=rules,
        posts=_posts(picture, say_now=True),
        span=_span(picture),
        unit_up="V",
        unit_across="hours used",
        words=" ".join(part for part in (f"Volts over hours used: {_said(picture)}", picture.doubt) if part),
    )
    return replace(plot, dots=tuple(replace(dot, off=n in picture.doubted) for n, dot in enumerate(plot.dots)))


def left_plot(picture: SetPicture) -> Plot:
    """Draw hours left over hours used, with its band, where earlier sets came out and what the next show needs."""
    rules = [(picture.need_h, picture.need_words)] if picture.need_h else []
    return plot_of(
        curves=[("likely", [(p.hours, p.left_h) for p in picture.points])],
        low=[(p.hours, p.left_low_h) for p in picture.points],
        high=[(p.hours, p.left_high_h) for p in picture.points],
        rules=rules,
        posts=[
            *_posts(picture, say_now=not picture.has_volts),
            *((hours, said, "died" if died else "out") for hours, said, died in picture.ends),
        ],
        span=_span(picture),
        least=0.0,
        unit_up="h left",
        unit_across="hours used",
        words=f"Hours left over hours used: {_said(picture)}",
    )


def _posts(picture: SetPicture, *, say_now: bool) -> list[tuple[float, str, str]]:
    return [(picture.now_h, "now" if say_now else "", "now")]


def _span(picture: SetPicture) -> XY | None:
    return (picture.now_h, picture.now_h + picture.need_h) if picture.need_h else None


def _said(picture: SetPicture) -> str:
    here = min(picture.points, key=lambda p: abs(p.hours - picture.now_h))
    said = (
        f"at {here.hours:.0f} hours used, {here.left_low_h:.0f} to {here.left_high_h:.0f} are left, likely {here.left_h:.0f}."
    )
    return said + (f" {picture.need_words[:1].upper()}{picture.need_words[1:]}." if picture.need_words else "")


def trend_plot(
    *,
    tests: Sequence[XY],
    middle: Sequence[XY],
    low: Sequence[XY],
    high: Sequence[XY],
    now_years: float,
    need_mah: float | None = None,
    need_words: str = "",
) -> Plot:
    """Draw a labelled set's capacity in mAh over years, its tests as dots, its band, and the least that covers a show."""
    return plot_of(
        curves=[("likely", middle)],
        low=low,
        high=high,
        dots=[(years, mah, f"{mah:.0f} mAh") for years, mah in tests],
        rules=[(need_mah, need_words)] if need_mah else [],
        posts=[(now_years, "now", "now")],
        least=0.0,
        unit_up="mAh",
        unit_across="years",
        words=f"Capacity over years, {len(tests)} tests.",
    )


def curve_plot(curve: Sequence[XY]) -> Plot:
    """Draw a type's volts over how far it is used up, near no load."""
    return plot_of(
        curves=[("likely", [(100 * depth, volts) for depth, volts in curve])],
        unit_up="V",
        unit_across="of 100 used",
        words=f"From {curve[0][1]:g} V when fresh to {curve[-1][1]:g} V when it is empty.",
    )


def capacity_plot(capacity: Sequence[XY]) -> Plot:
    """Draw a type's capacity over its drain."""
    return plot_of(
        curves=[("likely", capacity)],
        dots=[(ma, mah, f"{mah:g} mAh at {ma:g} mA") for ma, mah in capacity],
        least=0.0,
        unit_up="mAh",
        unit_across="mA",
        log_across=len(capacity) > 1,
        words="; ".join(f"{mah:g} mAh at {ma:g} mA" for ma, mah in capacity) + ".",
    )
