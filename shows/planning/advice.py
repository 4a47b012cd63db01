"""What each line of a show needs: its mic/DI with the reason, what feeds it, how far it runs, what to mind.

The rows are read here, once; the numbers are shows/calc's. A person may overrule the mic/DI: the figures stay.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from company.models import Company
from inventory.calc.kinds import Kind, PhantomKind
from inventory.models import GearType
from maintenance.calc.phantom_out import SUPPLIES
from shows.calc.lead_runs import RunError, need_mm
from shows.calc.lines import LineWay, PhantomWish, PlaceSort, Side, Way, Whose
from shows.calc.phantom import Budget, Drawn, Fed, OnInput, budget, feed
from shows.calc.pickup_choice import By, Choice, Pickup, Stage, Weighed, choose
from shows.calc.signal_path import Lead, Source
from shows.calc.words import Feed
from shows.models import InputLine, Show, StagePlace, StagePlan
from shows.planning.facts import Inputs, Known, inputs_of, known_pickups, source_of

SOURCE_LEAD_PF = 130.0  # an instrument lead where none is on record: published leads run from 100 to 160
CORE_OHM_PER_M, SHIELD_OHM_PER_M = 0.0886, 0.03  # 0.22 mm² at the upper guide; a braid as published
WITHOUT_KIND = "Say what kind of source it is: then the numbers can be told."


@dataclass(frozen=True, kw_only=True)
class Mind:
    """Something to mind on a line: `key` names the rule, `grave`: it does not work or it can hurt."""

    key: str
    words: str
    grave: bool = False


@dataclass(frozen=True, kw_only=True)
class LineAdvice:
    """One line with its advice. `pickup` is what is taken (a person's choice, or the first of `choice`), None where nothing
    is: an output, an unknown kind, a box of the line before that has two channels (`shares` is that line).

    `run_mm`: lead from the pickup to its input, None while a place has no coordinates. `source_lead_mm`: from source to box.
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

    @property
    def is_ours(self) -> bool:
        """Say whether its mic/DI goes on our pull list."""
        return self.line.whose == Whose.OURS and self.pickup is not None and self.shares is None


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


def plan_of(show: Show) -> StagePlan:
    """Return a show's plan, or one with the usual figures that is not kept yet; sizes left empty stay empty."""
    return StagePlan.objects.select_related("desk__desk_facts").filter(show=show).first() or StagePlan(show=show)


def advice_of(show: Show) -> ShowAdvice:
    """Work out what each line of a show needs; a constant number of queries."""
    plan, company = plan_of(show), Company.current()
    places = tuple(
        StagePlace.objects.filter(show=show).select_related(
            "feed", "type__stage_box_facts", "type__desk_facts", "type__multicore_facts"
        )
    )
    at = {place.pk: place for place in places}
    lines = list(InputLine.objects.filter(show=show).select_related("type", "pickup", "stand"))
    for line in lines:
        # the places are read once, with their facts
        line.place, line.box = at.get(line.place_id or 0), at.get(line.box_id or 0)
    known = known_pickups(also=[line.pickup_id for line in lines if line.pickup_id])
    desk = plan.desk or (show.venue.house_desk_type if show.venue else None)
    mix = next((place for place in places if place.sort == PlaceSort.MIX), None)
    house = _House(show=show, plan=plan, company=company, known=known, desk=desk, mix=mix)
    told: list[LineAdvice] = []
    partners = pairs_of(lines)
    for line in lines:
        first = partners.get(line.pk)
        before = next((one for one in told if first is not None and one.line.pk == first.pk), None)
        paired = first is not None or line.pk in {one.pk for one in partners.values()}
        told.append(house.advise(line, before=before, paired=paired))
    return ShowAdvice(show=show, plan=plan, lines=tuple(told), budgets=_budgets(told), known=known, places=places)


def pairs_of(lines: Sequence[InputLine]) -> dict[int, InputLine]:
    """Return {key of a right line: its left line}: neighbours by number, of one kind."""
    pairs, before = {}, None
    for line in sorted(lines, key=lambda one: (one.way, one.number)):
        is_right = line.side == Side.RIGHT and before is not None and before.side == Side.LEFT
        if is_right and before and (before.way, before.type_id, before.number + 1) == (line.way, line.type_id, line.number):
            pairs[line.pk] = before
        before = line
    return pairs


@lru_cache(maxsize=4096)
def _chosen(source: Source, stage: Stage, pickups: tuple[Pickup, ...]) -> Choice:
    return choose(source, stage, pickups)


@dataclass(frozen=True, kw_only=True)
class _House:
    """What all lines of a show share."""

    show: Show
    plan: StagePlan
    company: Company
    known: Known
    desk: GearType | None
    mix: StagePlace | None

    def advise(self, line: InputLine, *, before: LineAdvice | None, paired: bool) -> LineAdvice:
        inputs, number = self.patched(line)
        kind = line.type
        if line.way == LineWay.OUT or kind is None:
            return self._plain(line, inputs, number)
        other = self.other_feed(line)
        source = source_of(kind)
        stage = Stage(
            lead=Lead(metres=kind.lead_mm / 1000, pf_per_m=SOURCE_LEAD_PF),
            mixer_ohm=inputs.ohm,
            most_dbu=inputs.most_dbu,
            phantom=inputs.phantom is not PhantomKind.NONE and line.phantom != PhantomWish.OFF,
            to_mixer_m=(self.run(line) or 0) / 1000,
            other_feed=other and kind.is_mains,
            way=Way(kind.way),
            balanced=kind.balanced,
            stereo_jack=kind.stereo_jack,
            stereo=paired,
            is_mains=kind.is_mains,
            spl_db=kind.spl_db,
        )
        choice = _chosen(source, stage, self.known.of_source(kind))
        taken = self._taken(line, source, stage, choice)
        shares = (
            before.line
            if before and before.pickup and self._holds_two(before.pickup) and not self._differs(line, before)
            else None
        )
        pickup = self.known.types.get(int(taken.pickup.key)) if taken else None
        fed_by = self.feed_of(line, taken, stage)
        return LineAdvice(
            line=line,
            choice=choice,
            taken=taken,
            pickup=before.pickup if shares and before else pickup,
            second=self.known.types.get(int(choice.second.pickup.key)) if choice.second else None,
            overruled=line.pickup_id is not None and (choice.first is None or str(line.pickup_id) != choice.first.pickup.key),
            why=choice.why,
            lost=choice.lost,
            inputs=inputs,
            input_number=number,
            feed=fed_by,
            fed=self.fed(line, pickup, fed_by),
            run_mm=self.run(line),
            balanced=kind.balanced or (taken is not None and taken.pickup.by is not By.LEAD),
            source_lead_mm=0 if taken is None or taken.pickup.by in {By.MICROPHONE, By.LEAD} else kind.lead_mm,
            other_feed=other,
            shares=shares,
            minds=(),
        )

    def _plain(self, line: InputLine, inputs: Inputs, number: int | None) -> LineAdvice:
        return LineAdvice(
            line=line,
            choice=None,
            taken=None,
            pickup=line.pickup,
            second=None,
            overruled=line.pickup is not None,
            why="" if line.way == LineWay.OUT else WITHOUT_KIND,
            lost="",
            inputs=inputs,
            input_number=number,
            feed=line.feed,
            fed=None,
            run_mm=self.run(line),
            balanced=True,
            source_lead_mm=0,
            other_feed=False,
            shares=None,
            minds=(),
        )

    def _taken(self, line: InputLine, source: Source, stage: Stage, choice: Choice) -> Weighed | None:
        if line.pickup_id is None:
            return choice.first
        there = next((one for one in choice.weighed if one.pickup.key == str(line.pickup_id)), None)
        return there or _chosen(source, stage, (self.known.pickups[line.pickup_id],)).weighed[0]

    def _differs(self, line: InputLine, before: LineAdvice) -> bool:
        return line.pickup_id not in {None, before.pickup.pk if before.pickup else None}

    def _holds_two(self, type_: GearType) -> bool:
        return self.known.pickups[type_.pk].stereo

    def patched(self, line: InputLine) -> tuple[Inputs, int | None]:
        """Return the inputs a line comes into electrically, and its number there."""
        box = line.box
        if (
            box is not None
            and box.type is not None
            and box.type.kind == Kind.STAGE_BOX
            and getattr(box.type.facts, "digital", False)
        ):
            return inputs_of(box.type, box.name), line.box_input
        return inputs_of(self.desk, "the desk"), line.desk_input or line.number

    def other_feed(self, line: InputLine) -> bool:
        """Say whether a line's source and what it is plugged into are known to hang on different supplies."""
        box = line.box
        far = box if box is not None and box.type is not None and getattr(box.type.facts, "digital", False) else self.mix
        here = line.place.feed_id if line.place else None
        there = far.feed_id if far else None
        return here is not None and there is not None and here != there

    def run(self, line: InputLine) -> int | None:
        """Return millimetres of lead from a line's place to its stage box, or to the mix; None while either has no place."""
        here, there = line.place, line.box or self.mix
        if here is None or there is None or here.x_mm is None or there.x_mm is None or here.y_mm is None or there.y_mm is None:
            return None
        straight = ((here.x_mm - there.x_mm) ** 2 + (here.y_mm - there.y_mm) ** 2) ** 0.5
        try:
            return need_mm(straight, route_factor=self.plan.route_factor, slack_mm=self.plan.slack_mm)
        except RunError:
            return None

    def feed_of(self, line: InputLine, taken: Weighed | None, stage: Stage) -> str:
        """Return what feeds a line's mic/DI here: as a person said, or phantom where it may be, or cells."""
        if line.feed or taken is None:
            return line.feed
        one = taken.pickup
        on_phantom = one.on_phantom and stage.phantom and (self.company.phantom_first or not one.on_cells)
        return Feed.PHANTOM if on_phantom else Feed.CELLS if one.on_cells else Feed.NOTHING

    def fed(self, line: InputLine, pickup: GearType | None, fed_by: str) -> Fed | None:
        facts = pickup.facts if pickup is not None else None
        if fed_by != Feed.PHANTOM or facts is None:
            return None
        metres = (self.run(line) or 0) / 1000
        return feed(
            SUPPLIES["P48"],
            Drawn(draw_ma=getattr(facts, "draw_ma", None), least_v=getattr(facts, "least_supply_v", None)),
            core_ohm=metres * CORE_OHM_PER_M,
            shield_ohm=metres * SHIELD_OHM_PER_M,
        )


def _budgets(told: Sequence[LineAdvice]) -> tuple[tuple[str, Budget], ...]:
    """Return what phantom costs each desk and stage box that lines come into."""
    held: dict[str, list[LineAdvice]] = defaultdict(list)
    for one in told:
        if one.line.way == LineWay.IN and one.input_number is not None:
            held[one.inputs.name].append(one)
    answers = []
    for name, ones in held.items():
        inputs = ones[0].inputs
        answers.append((name, budget([_on_input(one) for one in ones], kind=inputs.phantom, budget_ma=inputs.budget_ma)))
    return tuple(answers)


def _on_input(one: LineAdvice) -> OnInput:
    kind, facts = one.line.type, one.pickup.facts if one.pickup else None
    own = bool(kind and kind.wants_phantom)
    harm = kind.phantom_harm if kind and one.taken and one.taken.pickup.by is By.LEAD else ""
    if one.taken and one.taken.pickup.harmed_by_phantom:
        harm = one.taken.pickup.name
    draw = kind.draw_ma if own and kind else getattr(facts, "draw_ma", None)
    wants = own or one.feed == Feed.PHANTOM or one.line.phantom == PhantomWish.ON
    return OnInput(number=one.input_number or 0, line=str(one.line), wants=wants, draw_ma=draw, harm=harm)
