"""The leads of a show: which lengths make each run from what is free, what joins a box to the mix, and what cannot be made."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from company.models import Company
from inventory.calc.kinds import Kind
from inventory.models import GearType
from shows.calc.lead_runs import MOST_LENGTHS, MOST_RUNS, Length, Made, Run, RunError, need_mm, runs_made
from shows.calc.lines import LineWay, PlaceSort
from shows.calc.pickup_choice import By
from shows.calc.signal_path import corner_hz
from shows.models import Show, StagePlace
from shows.planning.advice import advice_of
from shows.planning.free import free_of
from shows.planning.told import LineAdvice, ShowAdvice

MICROPHONE, INSTRUMENT, BALANCED_JACK, LAPTOP, NETWORK = "lead-mic", "lead-ts", "lead-trs", "lead-laptop", "lead-network"
USUAL_MM = 10_000  # where nobody has placed a source yet. Common practice, no source.
PF_PER_M = 130.0  # an instrument lead's, where its type does not say
AUDIBLE_HZ = 20_000.0
SECONDS = 2.0


@dataclass(frozen=True, kw_only=True)
class LeadRun:
    """One run: whose, how much it takes, how it is made; `assumed`: nobody has placed it, a usual length stands in."""

    key: str
    called: str
    what: str
    need_mm: int
    assumed: bool
    lengths_mm: tuple[int, ...]
    met: bool
    flag: str = ""
    scale_mm: int = 1_000  # what the drawing's width stands for: one for all runs of a type, so that they compare

    @property
    def joins(self) -> int:
        return max(0, len(self.lengths_mm) - 1)

    @property
    def made_mm(self) -> int:
        return sum(self.lengths_mm)

    @property
    def need_x(self) -> int:
        return round(1000 * self.need_mm / self.scale_mm)

    @property
    def need_shown_mm(self) -> int:
        """Return what it needs as it is lettered: rounded up to a tenth of a metre."""
        return -(-self.need_mm // 100) * 100

    @property
    def pieces(self) -> tuple[tuple[int, int], ...]:
        """Return (left, width) of each lead, in thousandths of the drawing."""
        found, at = [], 0
        for mm in self.lengths_mm:
            found.append((round(1000 * at / self.scale_mm), round(1000 * mm / self.scale_mm)))
            at += mm
        return tuple(found)

    @property
    def waste_mm(self) -> int:
        return max(0, self.made_mm - self.need_mm) if self.met else 0


@dataclass(kw_only=True)
class LeadGroup:
    """All runs of one type of lead, what is free of it by length, and what would help where a run cannot be made."""

    type: GearType
    runs: tuple[LeadRun, ...]
    free: dict[int, int]
    used: Counter[int] = field(default_factory=Counter)

    @property
    def free_list(self) -> list[tuple[int, int]]:
        return sorted(self.free.items())

    @property
    def unmet(self) -> tuple[LeadRun, ...]:
        return tuple(run for run in self.runs if not run.met)

    @property
    def lacking(self) -> tuple[tuple[int, int], ...]:
        """Return (length in mm, how many) that would make what cannot be made: the next stock length over each need."""
        stock = sorted(getattr(self.type.facts, "stock_lengths_mm", []) or [])
        wanted: Counter[int] = Counter()
        for run in self.unmet:
            wanted[next((length for length in stock if length >= run.need_mm), run.need_mm)] += 1
        return tuple(sorted(wanted.items()))


@dataclass(frozen=True, kw_only=True)
class Trunk:
    """What joins a stage box to the mix: its own multicore, or a network lead; channels used of those it has."""

    place: StagePlace
    type: GearType | None
    need_mm: int | None
    used: int
    channels: int | None
    digital: bool

    @property
    def need_shown_mm(self) -> int | None:
        return None if self.need_mm is None else -(-self.need_mm // 100) * 100

    @property
    def look(self) -> str:
        """Say what is wrong with it, if anything."""
        if self.channels is not None and self.used > self.channels:
            over = self.used - self.channels
            return f"{self.used} lines come into it and it has {self.channels}: {over} {'has' if over == 1 else 'have'} no way."
        return "" if self.type is not None else "Nobody has said what box stands there."


@dataclass(frozen=True, kw_only=True)
class Leads:
    """A show's leads, by type; its trunks; types that are wanted and in nobody's catalogue."""

    show: Show
    groups: tuple[LeadGroup, ...]
    trunks: tuple[Trunk, ...]
    unknown: tuple[str, ...]

    @property
    def unmet(self) -> int:
        return sum(len(group.unmet) for group in self.groups)


def leads_of(show: Show, advice: ShowAdvice | None = None) -> Leads:
    """Work out a show's leads; a constant number of queries."""
    advice = advice or advice_of(show)
    keys = (MICROPHONE, INSTRUMENT, BALANCED_JACK, LAPTOP, NETWORK)
    types = {one.key: one for one in GearType.objects.select_related("lead_facts").filter(key__in=keys) if one.key}
    limit = Company.current().unbalanced_limit_mm
    wanted: dict[str, list[LeadRun]] = defaultdict(list)
    for one in advice.lines:
        for key, run in _runs_of(one, limit):
            wanted[key].append(run)
    trunks = _trunks(advice)
    for trunk in trunks:
        if trunk.digital and trunk.need_mm:
            wanted[NETWORK].append(_wanted(f"trunk{trunk.place.pk}", trunk.place.name, "to the mix", trunk.need_mm))
    free = free_of(show, [one.pk for one in types.values()])
    groups = [_made(types[key], runs, free) for key, runs in wanted.items() if key in types and runs]
    unknown = tuple(sorted(key for key, runs in wanted.items() if runs and key not in types))
    return Leads(show=show, groups=tuple(sorted(groups, key=lambda group: -len(group.runs))), trunks=trunks, unknown=unknown)


def _runs_of(one: LineAdvice, limit_mm: int) -> list[tuple[str, LeadRun]]:
    """Return (type's key, run) of one line: from its mic/DI on, and from the source to its box."""
    line = one.line
    is_out = line.way == LineWay.OUT
    if is_out and line.place is None:
        return []  # a mix into what stands at the desk itself
    if not is_out and (line.type is None or (one.pickup is None and one.shares is None)):
        return []
    assumed = one.run_mm is None
    need = one.run_mm if one.run_mm is not None else USUAL_MM
    plain = one.taken is not None and one.taken.pickup.by is By.LEAD
    runs = []
    unbalanced = plain and not one.balanced
    flag = _too_long(one, need, limit_mm) if unbalanced else ""
    if plain and line.type is not None and not line.type.balanced:
        runs.append((INSTRUMENT, _wanted(f"in{line.pk}", line.called, line.source, need, assumed=assumed, flag=flag)))
    else:
        what = f"to {line.source}" if is_out else line.source
        runs.append((MICROPHONE, _wanted(f"line{line.pk}", line.called, what, need, assumed=assumed)))
    if one.source_lead_mm and line.type is not None and not is_out:
        key = LAPTOP if line.type.stereo_jack else BALANCED_JACK if line.type.balanced else INSTRUMENT
        if not (key == LAPTOP and one.shares is not None):  # one lead carries both sides
            flag = _too_long(one, one.source_lead_mm, limit_mm) if key == INSTRUMENT else ""
            what = f"{line.source} to its box"
            runs.append((key, _wanted(f"source{line.pk}", line.called, what, one.source_lead_mm, flag=flag)))
    return runs


def _wanted(key: str, called: str, what: str, need: int, *, assumed: bool = False, flag: str = "") -> LeadRun:
    return LeadRun(key=key, called=called, what=what, need_mm=need, assumed=assumed, lengths_mm=(), met=False, flag=flag)


def _too_long(one: LineAdvice, need: int, limit_mm: int) -> str:
    """Say why an unbalanced run is too long: the limit, and where its top begins to go."""
    if need <= limit_mm:
        return ""
    ohm = one.line.type.ohm if one.line.type is not None else None
    hz = corner_hz(ohm or 0, need / 1000 * PF_PER_M * 1e-12)
    top = f"; its top would fall from {hz / 1000:.1f} kHz on" if hz < AUDIBLE_HZ else "; hum adds along it"
    usual = "10 to 20 ft is common practice for such a source, 100 to 200 ft and more for a balanced one"
    told = f"{need / 1000:.0f} m is far for an unbalanced lead, the company's limit is {limit_mm / 1000:g} m"
    return f"{told}{top}: put the box nearer ({usual})."


def _trunks(advice: ShowAdvice) -> tuple[Trunk, ...]:
    mix = next((place for place in advice.places if place.sort == PlaceSort.MIX), None)
    found = []
    for place in advice.places:
        if place.sort != PlaceSort.BOX:
            continue
        facts = place.type.facts if place.type is not None else None
        digital = bool(getattr(facts, "digital", False))
        is_multicore = place.type is not None and place.type.kind == Kind.MULTICORE
        inputs = [one.line for one in advice.lines if one.line.way == LineWay.IN and one.line.box is not None]
        used = sum(line.box is not None and line.box.pk == place.pk for line in inputs)
        found.append(
            Trunk(
                place=place,
                type=place.type,
                need_mm=_between(place, mix, advice),
                used=used,
                channels=getattr(facts, "sends" if is_multicore else "inputs", None),
                digital=digital,
            )
        )
    return tuple(found)


def _between(here: StagePlace, there: StagePlace | None, advice: ShowAdvice) -> int | None:
    if there is None or here.x_mm is None or here.y_mm is None or there.x_mm is None or there.y_mm is None:
        return None
    straight = ((here.x_mm - there.x_mm) ** 2 + (here.y_mm - there.y_mm) ** 2) ** 0.5
    try:
        return need_mm(straight, route_factor=advice.plan.route_factor, slack_mm=advice.plan.slack_mm)
    except RunError:
        return None


def _made(type_: GearType, runs: Sequence[LeadRun], free: dict[tuple[int, int], int]) -> LeadGroup:
    lengths = {mm: count for (key, mm), count in free.items() if key == type_.pk and mm and count}
    shortest = sorted(lengths.items())[:MOST_LENGTHS]
    asked = [Run(key=run.key, need_mm=run.need_mm) for run in runs[:MOST_RUNS]]
    made: list[Made] = runs_made(asked, [Length(mm=mm, free=count) for mm, count in shortest], seconds=SECONDS)
    widest = max(max(run.need_mm, sum(one.lengths_mm)) for run, one in zip(runs, made, strict=False))
    told = tuple(
        LeadRun(
            key=run.key,
            called=run.called,
            what=run.what,
            need_mm=run.need_mm,
            assumed=run.assumed,
            lengths_mm=one.lengths_mm,
            met=one.met,
            flag=run.flag,
            scale_mm=round(widest * 1.03),
        )
        for run, one in zip(runs, made, strict=False)
    )
    used = Counter(mm for run in told for mm in run.lengths_mm)
    return LeadGroup(type=type_, runs=told, free=lengths, used=used)


def lead_rows(show: Show, advice: ShowAdvice | None = None) -> list[tuple[GearType, int, int, str, list[str]]]:
    """Return what to pull for a show's runs: (type, length in mm, how many, why, names of its lines)."""
    rows = []
    for group in leads_of(show, advice).groups:
        of_length: dict[int, list[str]] = defaultdict(list)
        for run in group.runs:
            for mm in run.lengths_mm:
                of_length[mm].append(run.called)
        for mm, lines in sorted(of_length.items()):
            rows.append((group.type, mm, len(lines), f"runs of the plan, {len(lines)} of {group.free.get(mm, 0)} free", lines))
        for mm, count in group.lacking:
            lines = [run.called for run in group.unmet]
            rows.append((group.type, mm, count, "runs that nothing free will make: buy or borrow", lines))
    return rows
