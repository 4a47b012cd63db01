"""What all lines of a show share, and one line worked out in it: its input, supplies, runs, mic/DI, feed and what to mind."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from company.models import Company
from inventory.calc.kinds import Kind, PhantomKind
from inventory.models import GearType
from maintenance.calc.phantom_out import SUPPLIES
from shows.calc.lead_runs import RunError, need_mm
from shows.calc.lines import Family, LineWay, PhantomWish, Side, Way, Whose
from shows.calc.minds import Mind, Minded, minds_of
from shows.calc.phantom import Drawn, Fed, feed
from shows.calc.pickup_choice import By, Choice, Pickup, Stage, Weighed, choose, mixer_sees_ohm, weigh
from shows.calc.signal_path import Lead, Source, response_db
from shows.calc.words import Feed
from shows.models import InputLine, Show, SourceType, StagePlace, StagePlan
from shows.planning.facts import BARE_CARTRIDGES, Cable, Inputs, Known, cable_of, inputs_of, source_of
from shows.planning.told import LineAdvice

WITHOUT_KIND = "Say what kind of source it is: then the numbers can be told."
NO_LOAD_OHM = 1e9
# what is said of a box of two channels once, at its first line
SAID_ONCE = frozenset(
    {"isolation", "lift", "stereo-jack", "not-owned", "usual-not-owned", "cells", "floating", "phantom-unknown"}
)


@lru_cache(maxsize=4096)
def chosen(source: Source, stage: Stage, pickups: tuple[Pickup, ...], ends_ohm: tuple[float, float] | None) -> Choice:
    """Choose; the same question is asked once while the program runs."""
    return choose(source, stage, pickups, ends_ohm=ends_ohm)


def ends_of(kind: SourceType) -> tuple[float, float] | None:
    """Return the ends a source's impedance lies between, or None where they make no range."""
    low, high = kind.least_ohm, kind.most_ohm
    return (low, high) if low is not None and high is not None and low <= (kind.ohm or 0.0) <= high and low < high else None


@dataclass(frozen=True, kw_only=True)
class House:
    """What all lines of a show share."""

    show: Show
    plan: StagePlan
    company: Company
    known: Known
    desk: GearType | None
    mix: StagePlace | None

    def advise_all(
        self, lines: Sequence[InputLine], partners: dict[int, InputLine], *, live: Collection[int] = (), harms: dict[int, str]
    ) -> tuple[LineAdvice, ...]:
        """Work every line out. `live`: keys of the lines whose input has phantom for others, `harms`: what it would harm."""
        told: dict[int, LineAdvice] = {}
        pairs = {one.pk for one in partners.values()}
        for line in lines:
            first = partners.get(line.pk)
            before = told.get(first.pk) if first is not None else None
            paired = first is not None or line.pk in pairs
            told[line.pk] = self.advise(line, before=before, paired=paired, live=line.pk in live, harm=harms.get(line.pk, ""))
        return tuple(told.values())

    def advise(self, line: InputLine, *, before: LineAdvice | None, paired: bool, live: bool, harm: str) -> LineAdvice:
        """Work one line out; `before`: the left half of its pair."""
        inputs, number = self.patched(line)
        kind = line.type
        if line.way == LineWay.OUT or kind is None:
            return self._plain(line, inputs, number)
        source, stage = source_of(kind), self.stage(line, kind, inputs, paired=paired, live=live)
        choice = chosen(source, stage, self.known.of_source(kind), ends_of(kind))
        taken = self._taken(line, source, stage, choice)
        shares = before.line if before and before.pickup and self._is_in(line, before, before.pickup) else None
        pickup = self._type(taken)
        fed_by = self.feed_of(line, taken, stage)
        wants = stage.phantom and (kind.wants_phantom or fed_by == Feed.PHANTOM or line.phantom == PhantomWish.ON)
        overruled = line.pickup_id is not None and (choice.first is None or str(line.pickup_id) != choice.first.pickup.key)
        second = choice.first if overruled else choice.second
        one = LineAdvice(
            line=line,
            choice=choice,
            taken=taken,
            pickup=before.pickup if shares and before else pickup,
            second=self._type(second),
            overruled=overruled,
            why=_by_hand(taken, choice) if overruled and taken else choice.why,
            lost=second.says if overruled and second else choice.lost,
            inputs=inputs,
            input_number=number,
            feed=fed_by,
            fed=self.fed(line, kind, pickup, fed_by, wants=wants),
            run_mm=self.run(line),
            balanced=kind.balanced or (taken is not None and taken.pickup.by is not By.LEAD),
            source_lead_mm=0 if taken is None or taken.pickup.by in {By.MICROPHONE, By.LEAD} else kind.lead_mm,
            other_feed=stage.other_feed or (self.other_feed(line) and not kind.is_mains),
            shares=shares,
            minds=(),
            far_mm=self.far(line),
            wants_phantom=wants,
            source=source,
            stage=stage,
        )
        return _with_minds(one, self._minds(one, kind, harm))

    def stage(self, line: InputLine, kind: SourceType, inputs: Inputs, *, paired: bool, live: bool) -> Stage:
        """Return where a line stands as the numbers see it."""
        here, there = self.supplies(line)
        out = self.known.lead(balanced=kind.balanced)
        return Stage(
            lead=Lead(metres=kind.lead_mm / 1000, pf_per_m=self.known.lead(balanced=False).pf_per_m),
            mixer_ohm=inputs.ohm,
            most_dbu=inputs.takes_dbu,
            phantom=inputs.phantom is not PhantomKind.NONE and line.phantom != PhantomWish.OFF,
            # to the metre: the same question is then asked once for neighbours
            to_mixer_m=float(round(((self.run(line) or 0) + (self.far(line) or 0)) / 1000)),
            run_pf_per_m=out.pf_per_m,
            other_feed=self.other_feed(line) and kind.is_mains,
            feed_known=bool(here and there),
            way=Way(kind.way),
            balanced=kind.balanced,
            stereo_jack=kind.stereo_jack,
            stereo=paired,
            is_mains=kind.is_mains,
            spl_db=kind.spl_db,
            unbalanced_most_m=self.company.unbalanced_limit_mm / 1000,
            amplifier=kind.family == Family.AMPLIFIER and kind.way == Way.ELECTRIC,
            live=live,
            harm=kind.phantom_harm,
            bare_cartridge=kind.key in BARE_CARTRIDGES,
        )

    def weighed(self, one: LineAdvice) -> tuple[Weighed, ...]:
        """Return everything weighed for a line with figures at both ends of its source's range, the best first."""
        if one.choice is None or one.source is None or one.stage is None or one.line.type is None:
            return ()
        pickups = [each.pickup for each in one.choice.weighed]
        if one.taken is not None and one.taken.pickup.key not in {each.key for each in pickups}:
            pickups.append(one.taken.pickup)
        return tuple(weigh(one.source, one.stage, each, ends_ohm=ends_of(one.line.type)) for each in pickups)

    def _plain(self, line: InputLine, inputs: Inputs, number: int | None) -> LineAdvice:
        out = line.way == LineWay.OUT
        return LineAdvice(
            line=line,
            choice=None,
            taken=None,
            pickup=line.pickup,
            second=None,
            overruled=line.pickup is not None,
            why="" if out else WITHOUT_KIND,
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
            minds=() if out else (Mind(key="no-kind", words=WITHOUT_KIND),),
            far_mm=self.far(line),
            wants_phantom=not out and line.phantom == PhantomWish.ON,
        )

    def _type(self, weighed: Weighed | None) -> GearType | None:
        return self.known.types.get(int(weighed.pickup.key)) if weighed else None

    def _taken(self, line: InputLine, source: Source, stage: Stage, choice: Choice) -> Weighed | None:
        if line.pickup_id is None:
            return choice.first
        there = (choice.first, choice.second, *choice.weighed)
        found = next((one for one in there if one and one.pickup.key == str(line.pickup_id)), None)
        ends = ends_of(line.type) if line.type else None
        return found or chosen(source, stage, (self.known.pickups[line.pickup_id],), ends).weighed[0]

    def _is_in(self, line: InputLine, before: LineAdvice, held: GearType) -> bool:
        return self.known.pickups[held.pk].stereo and line.pickup_id in {None, held.pk}

    def patched(self, line: InputLine) -> tuple[Inputs, int | None]:
        """Return the inputs a line comes into electrically, and its number there."""
        box = line.box
        if box is not None and _is_digital(box):
            return inputs_of(box.type, box.name), line.box_input
        return inputs_of(self.desk, "the desk"), line.desk_input or line.number

    def supplies(self, line: InputLine) -> tuple[str, str]:
        """Return the names of the supplies of a line's source and of what it is plugged into; empty where not known."""
        far = line.box if line.box is not None and _is_digital(line.box) else self.mix
        here, there = (place.feed if place is not None else None for place in (line.place, far))
        return (here.name if here else "", there.name if there else "")

    def other_feed(self, line: InputLine) -> bool:
        """Say whether a line's source and what it is plugged into are known to hang on different supplies."""
        here, there = self.supplies(line)
        return bool(here and there and here != there)

    def run(self, line: InputLine) -> int | None:
        """Return millimetres of lead from a line's place to its stage box, or to the mix; None while either has no place."""
        return self._between(line.place, line.box or self.mix)

    def far(self, line: InputLine) -> int | None:
        """Return millimetres from a passive stage box on to the mix; None where it comes in at the box or there is none."""
        return None if line.box is None or _is_digital(line.box) else self._between(line.box, self.mix)

    def _between(self, here: StagePlace | None, there: StagePlace | None) -> int | None:
        if here is None or there is None or here.x_mm is None or there.x_mm is None or here.y_mm is None or there.y_mm is None:
            return None
        straight = ((here.x_mm - there.x_mm) ** 2 + (here.y_mm - there.y_mm) ** 2) ** 0.5
        try:
            return need_mm(straight, route_factor=self.plan.route_factor, slack_mm=self.plan.slack_mm)
        except RunError:
            return None

    def lengths(self, line: InputLine) -> Iterable[tuple[float, Cable]]:
        """Return the metres and figures of what a line runs through to its input: its lead, then a multicore."""
        yield (self.run(line) or 0) / 1000, self.known.lead(balanced=True)
        core = line.box.type if line.box is not None and line.box.type and line.box.type.kind == Kind.MULTICORE else None
        yield (self.far(line) or 0) / 1000, cable_of(core) if core else self.known.lead(balanced=True)

    def feed_of(self, line: InputLine, taken: Weighed | None, stage: Stage) -> str:
        """Return what feeds a line's mic/DI here: as a person said, or phantom where it may be, or cells."""
        if line.feed or taken is None:
            return line.feed
        one = taken.pickup
        on_phantom = one.on_phantom and stage.phantom and (self.company.phantom_first or not one.on_cells)
        return Feed.PHANTOM if on_phantom else Feed.CELLS if one.on_cells else Feed.NOTHING

    def fed(self, line: InputLine, kind: SourceType, pickup: GearType | None, fed_by: str, *, wants: bool) -> Fed | None:
        """Return what phantom reaches the device after its lead; None where none is wanted or its draw is not known."""
        facts = pickup.facts if pickup is not None else None
        if kind.wants_phantom:
            drawn = Drawn(draw_ma=kind.draw_ma)
        elif fed_by == Feed.PHANTOM and facts is not None:
            drawn = Drawn(draw_ma=getattr(facts, "draw_ma", None), least_v=getattr(facts, "least_supply_v", None))
        else:
            return None
        core = sum(length * one.core_ohm_per_m for length, one in self.lengths(line))
        shield = sum(length * one.shield_ohm_per_m for length, one in self.lengths(line))
        return feed(SUPPLIES["P48"], drawn, core_ohm=core, shield_ohm=shield) if wants else None

    def _minds(self, one: LineAdvice, kind: SourceType, harm: str) -> tuple[Mind, ...]:
        if one.taken is None or one.source is None or one.stage is None:
            return (Mind(key="equaliser" if kind.key in BARE_CARTRIDGES else "nothing", words=one.why, grave=True),)
        drives = mixer_sees_ohm(one.source, one.taken.pickup)
        long = [(length, cable.pf_per_m) for length, cable in self.lengths(one.line)]
        metres, pf = sum(length for length, _pf in long), sum(length * each for length, each in long)
        top = 0.0
        if metres:
            behind = Source(ohm=drives)
            top = float(
                response_db(behind, lead=Lead(metres=metres, pf_per_m=pf / metres), input_ohm=NO_LOAD_OHM, hz=[20_000])[0]
            )
        ours = one.line.whose == Whose.OURS and one.pickup is not None and one.taken.pickup.by is not By.LEAD
        usual = self.known.type_of_key(kind.usual[0]) if kind.usual and one.taken.pickup.usual != 0 else None
        found = minds_of(
            Minded(
                source=one.source,
                stage=one.stage,
                taken=one.taken,
                inputs=one.inputs.name,
                wish=one.line.phantom,
                wants=one.wants_phantom,
                needs_own=kind.wants_phantom,
                draws=one.draw_ma is not None,
                fed=one.fed,
                harm=harm,
                run_m=metres,
                long_top_db=top,
                drives_ohm=drives,
                owned=self.known.owned.get(one.pickup.pk, 0) if ours and one.pickup else None,
                usual_missing=usual.name if usual is not None and not self.known.owned.get(usual.pk) and ours else "",
                supplies=self.supplies(one.line),
            )
        )
        return tuple(mind for mind in found if one.shares is None or mind.key not in SAID_ONCE)


def _is_digital(box: StagePlace) -> bool:
    return box.type is not None and box.type.kind == Kind.STAGE_BOX and bool(getattr(box.type.facts, "digital", False))


def _by_hand(taken: Weighed, choice: Choice) -> str:
    advised = f" Advised is {choice.first.pickup.name}." if choice.first else ""
    mind = f" Mind: {'; '.join(taken.against)}." if taken.against else ""
    return f"Chosen by hand. {taken.says}{mind}{advised}"


def _with_minds(one: LineAdvice, minds: tuple[Mind, ...]) -> LineAdvice:
    return replace(one, minds=minds)


def pairs_of(lines: Sequence[InputLine]) -> dict[int, InputLine]:
    """Return {key of a right line: its left line}: neighbours by number, of one kind."""
    pairs, before = {}, None
    for line in sorted(lines, key=lambda one: (one.way, one.number)):
        is_right = line.side == Side.RIGHT and before is not None and before.side == Side.LEFT
        if is_right and before and (before.way, before.type_id, before.number + 1) == (line.way, line.type_id, line.number):
            pairs[line.pk] = before
        before = line
    return pairs
