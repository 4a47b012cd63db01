"""What is told of a line and of a show: the answers others read."""

from dataclasses import dataclass

from inventory.models import GearType
from shows.calc.lines import Whose
from shows.calc.minds import Mind
from shows.calc.phantom import Budget, Fed
from shows.calc.pickup_choice import By, Choice, Stage, Weighed
from shows.calc.signal_path import Source
from shows.models import InputLine, Show, StagePlace, StagePlan
from shows.planning.facts import Inputs, Known


@dataclass(frozen=True, kw_only=True)
class LineAdvice:
    """One line with its advice. `pickup` is what is taken (a person's choice, or the first of `choice`), None where nothing
    is: an output, an unknown kind, a box of the line before that has two channels (`shares` is that line).

    `run_mm`: lead from the pickup to its stage box or the mix, `far_mm` from a passive stage box on to the mix; None while a
    place has no coordinates. `source_lead_mm`: from source to box. `wants_phantom`: it is switched on at that input for it.
    `source` and `stage` are what the numbers were told; None where there are none.
    """

    line: InputLine
    choice: Choice | None
    taken: Weighed | None
    pickup: GearType | None
    second: GearType | None
    overruled: bool
    why: str
    lost: str
    inputs: Inputs
    input_number: int | None
    feed: str
    fed: Fed | None
    run_mm: int | None
    balanced: bool
    source_lead_mm: int
    other_feed: bool
    shares: InputLine | None
    minds: tuple[Mind, ...]
    far_mm: int | None = None
    wants_phantom: bool = False
    source: Source | None = None
    stage: Stage | None = None

    @property
    def is_ours(self) -> bool:
        """Say whether its mic/DI goes on our pull list."""
        if self.pickup is None or self.shares is not None:
            return False
        # a player brings the microphone; what is advised to stand in its lead comes from us
        lent = self.taken is not None and self.taken.pickup.by is By.ISOLATOR and not self.overruled
        return self.line.whose == Whose.OURS or (self.line.whose == Whose.PLAYER and lent)

    @property
    def grave(self) -> tuple[Mind, ...]:
        """Return what does not work or can hurt."""
        return tuple(one for one in self.minds if one.grave)

    @property
    def draw_ma(self) -> float | None:
        """Return what it draws of phantom in milliamps; None where nobody knows."""
        if self.line.type is not None and self.line.type.wants_phantom:
            return self.line.type.draw_ma
        return getattr(self.pickup.facts, "draw_ma", None) if self.pickup is not None else None


@dataclass(frozen=True, kw_only=True)
class ShowAdvice:
    """Every line in order, what each desk or stage box is asked for in phantom, and the plan all hangs on."""

    show: Show
    plan: StagePlan
    lines: tuple[LineAdvice, ...]
    budgets: tuple[tuple[str, Budget], ...]
    known: Known
    places: tuple[StagePlace, ...]

    def of(self, line: InputLine) -> LineAdvice | None:
        """Return the advice of a line."""
        return next((one for one in self.lines if one.line.pk == line.pk), None)
