"""Hours left as tape: sure hours are tape, what is in doubt is hatched, the middle a tick, the next show's need a bracket."""

from collections.abc import Sequence
from dataclasses import dataclass

from maintenance.calc.cell_advice import hours_down, hours_up
from maintenance.calc.cell_words import Life
from maintenance.calc.cost_plot import nice_step
from maintenance.cell_fleet import FleetRow

LEAST = 8.0  # hours an axis spans
BEYOND = 4.0  # times the longest need: what lasts longer runs off the edge


@dataclass(frozen=True, kw_only=True)
class Tape:
    """One set on an axis of hours, per cent across; `need` empty where no show asks."""

    low: str
    median: str
    high: str
    doubt: str
    need: str
    needs: str
    need_behind: bool  # the figure stands left of its line, or it would leave the drawing
    says: str
    figures: tuple[str, str, str]
    over: bool


@dataclass(frozen=True, kw_only=True)
class Notch:
    """A place along the axis."""

    at: str
    words: str


def axis_hours(rows: Sequence[FleetRow]) -> float:
    """Return the hours an axis for these sets spans: a few times their longest need, or as far as they reach."""
    needs = [row.need_h for row in rows if row.need_h]
    reach = [row.state.life.high_h for row in rows if row.state.life is not None]
    wanted = max(reach, default=LEAST)
    if needs and len(rows) > 4:
        wanted = min(wanted, BEYOND * max(needs))
    wanted = max(wanted, LEAST, *(1.15 * need for need in needs))
    step = nice_step(wanted)
    return step * -(-wanted // step)


def notches(axis: float) -> list[Notch]:
    """Return where an axis is lettered."""
    step = nice_step(axis)
    return [Notch(at=f"{100 * n * step / axis:.2f}%", words=f"{n * step:g}") for n in range(int(axis / step + 1e-9) + 1)]


def tape_of(life: Life | None, need_h: float | None, axis: float) -> Tape | None:
    """Return a set's tape; none where nobody can tell how long it lasts."""
    if life is None or axis <= 0:
        return None
    low, median, high = (min(h / axis, 1.0) * 100 for h in (life.low_h, life.median_h, life.high_h))
    figures = tuple(f"{hours_down(h)}" for h in (life.low_h, life.median_h, life.high_h))
    said = f"{figures[0]} to {figures[2]} hours left, likely {figures[1]}"
    need = min((need_h or 0.0) / axis, 1.0) * 100
    return Tape(
        low=f"{low:.2f}%",
        median=f"{median:.2f}%" if life.median_h <= axis else "",
        high=f"{high:.2f}%",
        doubt=f"{max(high - low, 0.0):.2f}%",
        need=f"{need:.2f}%" if need_h else "",
        needs=f"{hours_up(need_h)} h" if need_h else "",
        need_behind=need > 85,
        says=said + (f"; its next show needs {hours_up(need_h)}" if need_h else ""),
        figures=(figures[0], figures[1], figures[2]),
        over=life.high_h > axis,
    )
