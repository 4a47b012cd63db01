"""Where responses fall on a drawing: frequency evenly by ear across, decibels up."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from maintenance.calc.cost_plot import Tick
from shows.calc import choice_words as words
from shows.calc.pickups import By, Stage, Weighed
from shows.calc.signal_path import Source, grid_hz, response_db
from shows.calc.weighing import input_of, lead_of

LOW_HZ, HIGH_HZ, POINTS = 20.0, 20_000.0, 121
TOLD_HZ = (31.5, 63, 125, 250, 500, 1_000, 2_000, 4_000, 8_000, 16_000)  # the octaves of the trade
ACROSS_HZ = (20, 50, 100, 200, 500, 1_000, 2_000, 5_000, 10_000, 20_000)
LEAST_DB, LEAST_TOP_DB, LOWEST_DB = -9.0, 3.0, -36.0


@dataclass(frozen=True, kw_only=True)
class Curve:
    """One response: its name, its path in plot units, which stroke it is drawn with, its decibels at `TOLD_HZ`, its end."""

    name: str
    path: str
    stroke: int
    told: tuple[str, ...]
    says: str
    db: tuple[float, ...]
    end_y: float


@dataclass(frozen=True, kw_only=True)
class ResponsePlot:
    """Curves against the source's open volts, ticks of both axes, and all of it in words."""

    curves: tuple[Curve, ...]
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    zero_y: float
    says: str
    width: int
    height: int
    left: int
    right: int
    top: int
    foot: int
    low_db: float
    high_db: float
    heads: tuple[str, ...] = tuple(words.frequency(hz) for hz in TOLD_HZ)


def response_plot(source: Source, stage: Stage, weighed: Sequence[Weighed], *, wide: bool = False) -> ResponsePlot | None:
    """Lay out what each pickup leaves of a source at its own input; None where none of them is plugged in."""
    boxes = [one for one in weighed if one.answer is not None and one.pickup.by is not By.MICROPHONE]
    if not boxes:
        return None
    hz = grid_hz(LOW_HZ, HIGH_HZ, POINTS)
    answers = []
    for one in boxes:
        sees, lead = input_of(one.pickup, mixer_ohm=stage.mixer_ohm), lead_of(stage, one.pickup)
        answers.append(
            (
                one,
                response_db(source, lead=lead, input_ohm=sees, hz=hz),
                response_db(source, lead=lead, input_ohm=sees, hz=TOLD_HZ),
            )
        )
    lowest, highest = min(float(db.min()) for _o, db, _t in answers), max(float(db.max()) for _o, db, _t in answers)
    low = max(LOWEST_DB, min(LEAST_DB, 3 * math.floor((lowest - 1) / 3)))
    high = max(LEAST_TOP_DB, 3 * math.ceil((highest + 1) / 3))
    size = _Size(wide=wide, low=low, high=high)
    curves = tuple(
        Curve(
            name=one.pickup.name,
            path=_path(size, hz, db),
            stroke=number,
            told=tuple(_signed(value) for value in told),
            says=one.says,
            db=tuple(round(float(value), 2) for value in db),
            end_y=size.y(max(low, float(db[-1]))),
        )
        for number, (one, db, told) in enumerate(answers)
    )
    step = 3 if high - low <= 15 else 6 if high - low <= 36 else 12
    levels = range(math.ceil(low / step) * step, math.floor(high) + 1, step)
    return ResponsePlot(
        curves=curves,
        across=tuple(Tick(at=size.x(one), words=_hz_tick(one)) for one in ACROSS_HZ if wide or one in {20, 100, 1_000, 10_000}),
        up=tuple(Tick(at=size.y(one), words=f"{one:+d}".replace("-", "\u2212") if one else "0") for one in levels),
        zero_y=size.y(0),
        says="Response from 20 Hz to 20 kHz. " + " ".join(one.says for one in boxes),
        width=size.width,
        height=size.height,
        left=size.left,
        right=size.width - size.right,
        top=size.top,
        foot=size.height - size.foot,
        low_db=low,
        high_db=high,
    )


@dataclass(frozen=True, kw_only=True)
class _Size:
    wide: bool
    low: float
    high: float

    @property
    def width(self) -> int:
        return 720 if self.wide else 320

    @property
    def height(self) -> int:
        return 340 if self.wide else 150

    @property
    def left(self) -> int:
        return 58 if self.wide else 40

    @property
    def right(self) -> int:
        return 22 if self.wide else 14

    @property
    def top(self) -> int:
        return 16 if self.wide else 10

    @property
    def foot(self) -> int:
        return 40 if self.wide else 28

    def x(self, hz: float) -> float:
        share = math.log(hz / LOW_HZ) / math.log(HIGH_HZ / LOW_HZ)
        return round(self.left + (self.width - self.left - self.right) * share, 1)

    def y(self, db: float) -> float:
        share = (self.high - db) / (self.high - self.low)
        return round(self.top + (self.height - self.top - self.foot) * share, 1)


def _path(size: _Size, hz: Sequence[float], db: Sequence[float]) -> str:
    points = [f"{size.x(float(f)):g} {size.y(max(size.low, float(value))):g}" for f, value in zip(hz, db, strict=True)]
    return "M" + "L".join(points)


def _signed(db: float) -> str:
    told = f"{db:.1f}"
    return "0.0" if told == "-0.0" else told.replace("-", "\u2212")


def _hz_tick(hz: float) -> str:
    return f"{hz / 1000:g}k" if hz >= 1000 else f"{hz:g}"
