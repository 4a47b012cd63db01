"""Levels and currents as lengths of tape: a level from typical to peak against what its input takes, draws against a budget."""

from collections.abc import Sequence
from dataclasses import dataclass

from maintenance.calc.cost_plot import Tick, nice_step
from shows.calc import choice_words as words
from shows.calc.signal_path import Level

LOW_DBU, HIGH_DBU, WIDTH = -70.0, 40.0, 400
LEAST_REACH_MA = 10.0


@dataclass(frozen=True, kw_only=True)
class LevelBar:
    """A level as tape on a scale of dBu, with the most its input takes; x in plot units. `over_x`: from where it clips."""

    from_x: float
    to_x: float
    most_x: float
    over_x: float | None
    ticks: tuple[Tick, ...]
    says: str
    width: int = WIDTH

    @property
    def long(self) -> float:
        return round(self.to_x - self.from_x, 1)

    @property
    def over(self) -> float:
        return 0.0 if self.over_x is None else round(self.to_x - self.over_x, 1)


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One line's draw as a piece of tape."""

    x: float
    width: float
    words: str


@dataclass(frozen=True, kw_only=True)
class DrawBar:
    """What a desk is asked for, piece by piece, and where its budget ends (None where nobody knows)."""

    pieces: tuple[Piece, ...]
    to_x: float
    budget_x: float | None
    ticks: tuple[Tick, ...]
    says: str
    width: int = WIDTH

    @property
    def over(self) -> float:
        return max(0.0, round(self.to_x - self.budget_x, 1)) if self.budget_x is not None else 0.0


def level_bar(level: Level, *, most_dbu: float) -> LevelBar:
    """Lay a level out from typical to peak against the most its input takes, in dBu."""

    def at(dbu: float) -> float:
        inside = min(HIGH_DBU, max(LOW_DBU, dbu))
        return round((inside - LOW_DBU) / (HIGH_DBU - LOW_DBU) * WIDTH, 1)

    room = most_dbu - level.peak_dbu
    left = f"{words.dbu(room)} dB to spare" if room >= 0 else f"{words.dbu(-room)} dB too much"
    told = f"Typically {words.dbu(level.typical_dbu)} dBu, peaks {words.dbu(level.peak_dbu)}"
    return LevelBar(
        from_x=at(level.typical_dbu),
        to_x=max(at(level.typical_dbu) + 3, at(level.peak_dbu)),
        most_x=at(most_dbu),
        over_x=at(most_dbu) if room < 0 else None,
        ticks=tuple(Tick(at=at(value), words=words.dbu(value)) for value in (-60, -40, -20, 0, 20)),
        says=f"{told}; its input takes {words.dbu(most_dbu)}: {left}.",
    )


def draw_bar(draws: Sequence[tuple[str, float]], *, budget_ma: float | None) -> DrawBar:
    """Lay out the draws of named lines end to end against a budget, in milliamps."""
    asked = sum(ma for _name, ma in draws)
    reach = max(LEAST_REACH_MA, 1.12 * max(asked, budget_ma or 0.0))
    step = nice_step(reach)
    pieces, at = [], 0.0
    for name, ma in draws:
        wide = ma / reach * WIDTH
        pieces.append(Piece(x=round(at, 1), width=round(wide, 1), words=f"{name}: {ma:g} mA"))
        at += wide
    against = f"of the {budget_ma:g} mA it gives" if budget_ma is not None else "; how much it gives is not on record"
    return DrawBar(
        pieces=tuple(pieces),
        to_x=round(at, 1),
        budget_x=round(budget_ma / reach * WIDTH, 1) if budget_ma is not None else None,
        ticks=tuple(Tick(at=round(n * step / reach * WIDTH, 1), words=f"{n * step:g}") for n in range(int(reach / step) + 1)),
        says=f"{asked:g} mA asked for{' ' if budget_ma is not None else ''}{against}.",
    )
